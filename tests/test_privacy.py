"""What a session does beside its work: nothing leaves the machine, nothing lands in other folders, nothing that was
typed or loaded is run."""

import ast
import base64
import html.parser
import io
import json
import subprocess
import sys
from pathlib import Path

import ipywidgets as widgets
import linetilt as lt
import numpy as np
import pytest
from linetilt.app.panels import common, setup
from linetilt.app.panels.lie_table import LieTablePanel
from linetilt.app.panels.photos import PhotosPanel
from linetilt.session.desk import Desk
from linetilt.session.intake import PhotoIntake
from linetilt.session.photo_names import safe_name
from photo_stub import Measure, write_photo
from PIL import Image

ROOT = Path(__file__).parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))

# Python tells an audit hook of every connection before it is made (docs.python.org, "Audit events table"). What is not
# on the
# loopback interface is written down and refused.
WATCH = """
import sys
OUT = []
def watch(event, arguments):
    if event.startswith("socket.") and event.split(".")[1] in ("connect", "sendto", "sendmsg", "bind", "getaddrinfo", "gethostbyname", "gethostbyaddr"):
        address = arguments[0] if event.split(".")[1].startswith("get") else arguments[1]
        host = address[0] if isinstance(address, tuple) else address
        if isinstance(address, tuple) and host not in ("127.0.0.1", "::1", "localhost", "") or isinstance(host, str) and event.split(".")[1].startswith("get") and host not in ("127.0.0.1", "localhost"):
            OUT.append((event, address))
            raise PermissionError(f"{event} {address}")
    elif event in ("urllib.Request", "http.client.connect", "ftplib.connect", "smtplib.connect", "webbrowser.open", "subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        OUT.append((event, str(arguments)[:200]))
        raise PermissionError(f"{event} {arguments}")
sys.addaudithook(watch)
"""

SESSION = (
    WATCH
    + """
import pathlib
import linetilt as lt
from linetilt.session.desk import Desk
from linetilt.app.panels.dispersion import DispersionPanel
from linetilt.app.panels.lie_table import LieTablePanel
from linetilt.app.panels.photos import PhotosPanel
from linetilt.app.panels import setup
home, demo = map(pathlib.Path, sys.argv[1:3])
with lt.SessionBook(home / "shop.linetilt") as book:
    desk = Desk(book)
    desk.add_golfer("Robin"), desk.load_bag(demo / "bag.csv"), desk.set(net_distance_mm=3000.0)
    [panel(desk) for panel in (setup.GolferPanel, setup.BagPanel, setup.NetPanel, setup.LinePanel, setup.SummaryPanel)]
    intake = lt.session.open_photos(book, demo / "photos" / "perrin", shot_list=demo / "shots.csv")
    panel = PhotosPanel(intake, watch_s=0.05)
    for name in ("6-4.jpg", "6-2.jpg"):
        intake.take(name), intake.count(name)
    panel.close()
    lt.session.hand_out(book, intake.session)
    LieTablePanel(book), DispersionPanel.of_session(book, club="6")
    lt.golfer_report(book, intake.session, home / "report.html"), lt.bench_sheet(book, intake.session, home / "bench.html")
    lt.handouts.clinic_summary(book, book.sessions()["day"].iloc[0], home / "clinic.html")
    lt.export_book(book, home / "export", parquet=False)
    assert book.check() == []
print(len(OUT), OUT)
"""
)

NOTEBOOK = (
    WATCH
    + """
import json
from IPython.core.interactiveshell import InteractiveShell
shell = InteractiveShell.instance()
for cell in json.load(open(sys.argv[1], encoding="utf-8"))["cells"]:
    if cell["cell_type"] == "code":
        shell.run_cell("".join(cell["source"]), silent=True).raise_error()
print()
print(len(OUT), OUT)
"""
)


def last_line(script, *arguments, cwd):
    answer = subprocess.run(
        [sys.executable, "-c", script, *map(str, arguments)], cwd=cwd, capture_output=True, text=True
    )
    assert answer.returncode == 0, answer.stderr[-3000:]
    return answer.stdout.strip().split("\n")[-1]


def test_the_watch_sees_what_would_leave():
    for call in (
        "import socket; socket.create_connection(('192.0.2.1', 80))",
        "import urllib.request; urllib.request.urlopen('http://example.invalid')",
        "import subprocess; subprocess.run(['true'])",
        "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'x', ('192.0.2.1', 9))",
    ):
        script = WATCH + f"try:\n    {call}\nexcept PermissionError: pass\nprint(len(OUT) > 0)"
        assert last_line(script, cwd=ROOT) == "True", call


def test_nothing_leaves_the_machine_in_a_whole_session(tmp_path):
    before = {path: path.stat().st_mtime_ns for path in (ROOT / "demo_photos").rglob("*")}
    assert last_line(SESSION, tmp_path, ROOT / "demo_photos", cwd=tmp_path) == "0 []"
    assert {path: path.stat().st_mtime_ns for path in (ROOT / "demo_photos").rglob("*")} == before
    assert {path.name for path in tmp_path.iterdir()} == {
        "shop.linetilt",
        "shop.linetilt-photos",
        "report.html",
        "bench.html",
        "clinic.html",
        "export",
    }


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_nothing_leaves_the_machine_by_a_notebook(notebook):
    assert last_line(NOTEBOOK, notebook, cwd=notebook.parent) == "0 []"


# Uploads

NAMES = [
    "../../evil.jpg",
    "/etc/evil.jpg",
    "..\\..\\evil.jpg",
    "C:\\Windows\\evil.jpg",
    "\\\\server\\share\\evil.jpg",
    "a\0b.jpg",
    "x" * 5000 + ".jpg",
    "\u8349" * 300 + ".jpg",
    "con.jpg",
    "NUL.JPG",
    "com1.jpg",
    "aux .jpg",
    ".hidden.jpg",
    "..",
    ".jpg",
    "a\nb.jpg",
    "a:b.jpg",
    '|<>?*".jpg',
    "photo.jpg/../../evil.jpg",
    "~/evil.jpg",
    "$(touch evil).jpg",
    "\u202egpj.jpg",
    "\ud800.jpg",
    " .jpg",
    "-rf.jpg",
]


@pytest.mark.parametrize("name", NAMES)
def test_an_upload_lands_in_the_inbox_or_nowhere(tmp_path, name):
    home = tmp_path / "deep" / "er"
    home.mkdir(parents=True)
    content = write_photo(tmp_path / "photo.jpg", 30).read_bytes()
    with lt.SessionBook(home / "shop.linetilt") as book:
        intake = PhotoIntake(
            book,
            book.add_session(book.add_bag(book.add_golfer("x"), lt.Bag([lt.Club(label="7", loft_deg=34)]))),
            measure=Measure(),
        )
        try:
            given = intake.receive(name, content)
        except lt.InputError as refusal:
            assert "expected a file that ends in" in str(refusal) and not intake.files.inbox.exists()
        else:
            (kept,) = intake.files.inbox.iterdir()
            assert kept.read_bytes() == content and given == f"uploaded/{kept.name}" and len(kept.name.encode()) < 200
            assert (
                kept.name.split(".")[0].strip().lower() not in ("con", "nul", "com1", "aux")
                and kept.resolve().parent == intake.files.inbox.resolve()
            )
    assert {path.name for path in home.iterdir()} <= {"shop.linetilt", "shop.linetilt-inbox"}
    assert {path.name for path in tmp_path.iterdir()} == {"deep", "photo.jpg"} and {
        path.name for path in home.parent.iterdir()
    } == {"er"}


def test_ordinary_names_stay():
    for name in ("7-1.jpg", "IMG 0412 (2).JPG", "Zo\u00eb.png", "concert.jpg", "PW_3.heic"):
        assert safe_name(name) == name


def test_a_book_that_was_tampered_with_leads_to_no_other_file(tmp_path):
    (tmp_path / "secret").write_bytes(b"not yours")
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        session = book.add_session(
            book.add_bag(book.add_golfer("x"), lt.Bag([lt.Club(label="7", loft_deg=34)])), day="2026-05-31"
        )
        shot = book.add_shot(
            session,
            "7",
            photo=b"\xff\xd8\xff x",
            mark={"tilt_deg": 1.0, "u_tilt_deg": 0.3},
        )
        book._db.execute("UPDATE shot SET photo = '../secret'")
        for call in (
            lambda: book.photo(shot),
            lambda: lt.golfer_report(book, session),
            lambda: PhotoIntake(book, session).entries(),
        ):
            with pytest.raises(
                lt.BookError, match="names a photo '../secret'; expected the SHA-256 of one; leave that book alone"
            ):
                call()
        assert "names a photo" in book.check()[0]


# What a phone writes into its photos


def test_a_page_carries_nothing_of_what_the_phone_wrote(tmp_path):
    photo = ROOT / "demo_photos" / "photos" / "perrin" / "6-4.jpg"
    with Image.open(photo) as picture:
        exif = picture.getexif()
        exif[0x010F] = "SECRET PHONE"
        exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 7.0), 3: "W", 4: (0.0, 7.0, 3.0)})
        data = io.BytesIO()
        picture.save(data, "jpeg", exif=exif, quality=95)
    with Image.open(io.BytesIO(data.getvalue())) as picture:
        assert picture.getexif().get_ifd(0x8825) and b"SECRET PHONE" in data.getvalue()
    club = lt.read_bag(ROOT / "demo_photos" / "bag.csv")["6"]
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        session = book.add_session(book.add_bag(book.add_golfer("Robin"), lt.Bag([club])), day="2026-05-31")
        mark = lt.measure_photo(data.getvalue(), club)
        book.add_shot(session, "6", photo=data.getvalue(), mark=mark)
        page = lt.golfer_report(book, session, tmp_path / "report.html", comparison=None)
        lt.export_book(book, tmp_path / "export", parquet=False)
        intake = PhotoIntake(book, session)
        shown = [
            intake.picture(intake.entries()[0].name)[0],
            intake.picture(intake.entries()[0].name, with_marks=False)[0],
        ]
    pictures = [base64.b64decode(part.split('"')[0]) for part in page.split("data:image/jpeg;base64,")[1:]]
    assert len(pictures) == 1
    for content in (*pictures, *shown):
        assert b"SECRET" not in content
        with Image.open(io.BytesIO(content)) as picture:
            assert not picture.getexif() and "exif" not in picture.info
    for path in (tmp_path / "export").iterdir():
        assert b"SECRET" not in path.read_bytes() and path.suffix in (".csv", ".json")  # no photos


# What somebody typed

EVIL = "<img src=x onerror=\"document.title='owned'\"></script><script>document.title='owned'</script>"


class Tags(html.parser.HTMLParser):
    """The elements of a piece of HTML that could run something."""

    def __init__(self, text):
        super().__init__()
        self.bad = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        if tag in ("script", "img", "iframe", "object", "embed", "link", "form") or any(
            name.startswith("on") or "javascript:" in (value or "") for name, value in attrs
        ):
            self.bad.append((tag, attrs))


def values(widget):
    """All HTML that a widget and those within it show."""
    for name in ("value", "description"):
        text = getattr(widget, name, None)
        if isinstance(text, str) and (
            isinstance(widget, widgets.HTML | widgets.HTMLMath)
            if name == "value"
            else getattr(widget, "description_allow_html", False)
        ):
            yield text
    for child in getattr(widget, "children", ()):
        yield from values(child)


def test_what_was_typed_is_shown_as_text_in_every_panel(tmp_path):
    (tmp_path / "photos").mkdir()
    (
        write_photo(tmp_path / "photos" / "<img src=x onerror=alert(1)>.jpg", 20),
        write_photo(tmp_path / "photos" / "7-1.jpg", 30),
    )
    with lt.SessionBook(tmp_path / f"<b>{'x' * 3}.linetilt") as book:
        desk = Desk(book)
        desk.add_golfer(EVIL)
        (
            desk.add_club(label=EVIL, loft_deg=34, lie_deg=62.0, length_in=37.0, head="forged"),
            desk.add_club(label="7", loft_deg=34),
        )
        desk.add_session(EVIL)
        session = int(desk.session["session_id"])
        intake = PhotoIntake(book, session, tmp_path / "photos", measure=Measure())
        for entry in intake.entries():
            intake.set_club(entry.name, EVIL), intake.take(entry.name)
        intake.set_aside("7-1.jpg", EVIL)
        for _ in range(4):
            book.add_shot(
                session,
                EVIL,
                mark={"tilt_deg": -2.5, "u_tilt_deg": 0.3},
                start=(0.2, 0.2),
                note=EVIL,
            )
        panels = [
            common.book_line(book),
            *(
                panel(desk)
                for panel in (setup.GolferPanel, setup.BagPanel, setup.NetPanel, setup.LinePanel, setup.SummaryPanel)
            ),
            LieTablePanel(book),
            PhotosPanel(intake, watch_s=60),
        ]
        line = widgets.HTML()
        common.say(line, EVIL, "error")
        common.shown_errors(line)(lambda: (_ for _ in ()).throw(lt.InputError(f"name is {EVIL}; expected a name")))()
        common.shown_errors(line)(lambda: (_ for _ in ()).throw(RuntimeError(EVIL)))()
        for name in [entry.name for entry in intake.entries()]:
            panels[-1]._list.value = name
            found = [text for panel in (*panels, line) for text in values(panel)]
            assert any("owned" in text for text in found)
            assert [bad for text in found for bad in Tags(text).bad] == []
        panels[-1].close()
        day = book.sessions()["day"].iloc[0]
        for page, scripts in (
            (lt.golfer_report(book, session), None),
            (lt.bench_sheet(book, session), 0),
            (lt.handouts.clinic_summary(book, day), 0),
        ):
            bad = [
                (tag, attrs)
                for tag, attrs in Tags(page).bad
                if tag != "script" and not (tag == "img" and dict(attrs)["src"].startswith("data:image/jpeg;base64,"))
            ]
            assert bad == [] and "owned" in page
            assert scripts is None or not any(tag == "script" for tag, _ in Tags(page).bad)
            assert "<img src=x" not in page and "</script><script>document" not in page


# What is loaded is never run

RUNS = {
    "eval",
    "exec",
    "compile",
    "__import__",
    "read_pickle",
    "to_pickle",
    "read_hdf",
    "pickle",
    "cPickle",
    "dill",
    "joblib",
    "shelve",
    "marshal",
    "system",
    "popen",
    "Popen",
    "check_output",
}


def named(tree):
    """Every name that code uses, calls or imports, and calls of numpy's that may load objects."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute) and not (isinstance(node.value, ast.Name) and node.value.id == "re"):
            yield node.attr
        elif isinstance(node, ast.Import | ast.ImportFrom):
            yield from [getattr(node, "module", None) or "", *(alias.name for alias in node.names)]
        if isinstance(node, ast.Call) and any(keyword.arg in ("allow_pickle", "shell") for keyword in node.keywords):
            yield "eval"


def test_no_source_and_no_notebook_runs_what_it_loads():
    code = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "kit").rglob("*.py")}
    for path in NOTEBOOKS:
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code[path.name] = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    assert len(code) > 40
    assert {
        name: sorted(RUNS & set(named(ast.parse(text))))
        for name, text in code.items()
        if RUNS & set(named(ast.parse(text)))
    } == {}
    assert set(named(ast.parse("import numpy as np\nnp.load('x', allow_pickle=True)\npd.read_pickle('x')"))) & RUNS == {
        "eval",
        "read_pickle",
    }


def test_an_array_that_holds_objects_is_no_photo():
    with pytest.raises(lt.PhotoError):
        lt.reading.photo.open_photo(np.array([[object()]] * 10, dtype=object))
