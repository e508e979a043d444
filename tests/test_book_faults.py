"""The book when things go wrong: disks that are full or may only be read, locks, damage, odd paths, kills at the worst
moment.

Each time: a sentence that says what was found, what was expected and what to do, and nothing lost that was stored.
"""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import linetilt as lt
import pandas as pd
import pytest
from linetilt.base.files import write_whole
from linetilt.book.schema import KINDS
from test_book import JUDGED, MARK, filled, python

PHOTO = b"\xff\xd8\xff" + bytes(range(256)) * 200


def parts(sentence):
    """A refusal says what was expected and, after a semicolon or colon, what to do."""
    return "expected" in sentence and len(sentence.split("expected")[1].replace(": ", "; ").split("; ")) > 1


@pytest.fixture
def path(tmp_path):
    with lt.SessionBook(tmp_path / "shop.linetilt") as book:
        filled(book, shots=12)
        book.change("shot", 2, note="corrected")
    return tmp_path / "shop.linetilt"


def everything(path):
    """All tables of a book as lists of rows."""
    with closing(sqlite3.connect(path)) as db:
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        assert {"edit", "change", "opening", "setting", *KINDS} == {*tables} - {"sqlite_sequence"}
        return {name: db.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in tables}


# Kills at the worst moments of a shot with its photo

DIE = """
import os, signal, sys
import linetilt as lt
from linetilt.book import book
from linetilt.base import files
die = lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL)
path, moment = sys.argv[1:]
with lt.SessionBook(path) as book:
    if moment == "photo half written":
        real = open
        def half(name, mode="r"):
            file = real(name, mode)
            class Half:
                __enter__ = lambda self: self
                __exit__ = lambda self, *_: file.close()
                def write(self, content):
                    file.write(content[: len(content) // 2]), file.flush(), die()
            return Half()
        files.open = half
    elif moment == "photo written, not named":
        os.replace = die
    elif moment == "photo named, no row":
        book._insert = die
    elif moment == "row written, not committed":
        real_insert = book._insert
        book._insert = lambda *given: (real_insert(*given), book._db.execute("PRAGMA cache_spill = 1"), die())
    book.add_shot(1, "7", photo=bytes(range(255, -1, -1)) * 300, mark={"tilt_deg": 1.0})
"""


@pytest.mark.parametrize(
    "moment", ["photo half written", "photo written, not named", "photo named, no row", "row written, not committed"]
)
def test_a_kill_between_photo_and_row(path, moment):
    before = everything(path)
    process = python(DIE, path, moment)
    process.communicate()
    assert process.returncode == -signal.SIGKILL
    assert everything(path) == before
    content = bytes(range(255, -1, -1)) * 300
    with lt.SessionBook(path) as book:
        assert book.check() == []
        named = [file for file in book.photo_folder.iterdir() if not file.name.startswith(".")]
        assert len(named) == 12 + (moment not in ("photo half written", "photo written, not named"))
        shot = book.add_shot(1, "7", photo=content, mark=MARK)  # entered again
        assert shot == 13 and book.photo(shot).read_bytes() == content and book.check() == []


def test_half_a_photo_under_a_photos_name_is_not_taken_for_the_whole(path):
    """What a disk can leave that lost power: the right name, even the right size, other content."""
    with lt.SessionBook(path) as book:
        shot = book.add_shot(1, "7", photo=PHOTO)
        for wrong in (PHOTO[:1000], PHOTO[:1000] + bytes(len(PHOTO) - 1000)):
            book.photo(shot).write_bytes(wrong)
            assert "not what was entered" in book.check()[0]
            assert book.add_shot(1, "7", photo=PHOTO) == shot  # the same photo is the same shot
            assert book.photo(shot).read_bytes() == PHOTO and book.check() == []


# Disks

FULL = """
import resource, signal, sys
import linetilt as lt
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
path, room = sys.argv[1], int(sys.argv[2])
with lt.SessionBook(path) as book:
    if room:
        resource.setrlimit(resource.RLIMIT_FSIZE, (book.path.stat().st_size + room, -1))
    try:
        for n in range(10_000):
            print(book.add_shot(1, "7", photo=b"photo %d" % n if n % 5 == 0 else None, note="x" * 300), flush=True)
    except lt.BookError as error:
        print(error, flush=True)
    shots = len(book.shots(1))
    print(book.check(), shots, flush=True)
"""


def test_no_room_in_a_file(path):
    """A limit on the size of files bites for the administrator too."""
    *shots, sentence, after, _ = python(FULL, path, 30_000).communicate()[0].split("\n")
    assert "could not read or write the book" in sentence and parts(sentence)
    assert after == f"[] {12 + len(shots)}" and len(shots) > 3
    with lt.SessionBook(path) as book:
        assert book.shots(1)["shot_id"].tolist()[12:] == list(map(int, shots)) and book.check() == []
        assert book.add_shot(1, "7") == int(shots[-1]) + 1


@pytest.mark.parametrize("full_by", ["book", "photo"])
def test_a_small_disk_that_fills_up(path, tmp_path, full_by):
    """A memory disk of its own, where this user may make one."""
    script = tmp_path / "fill.sh"
    script.write_text(
        "set -e\nmkdir disk\nmount -t tmpfs -o size=600k tmpfs disk\ncp -r shop.linetilt shop.linetilt-photos disk\n"
        + ("" if full_by == "book" else "head -c 2M /dev/zero > disk/other 2> /dev/null || true\n")
        + f'"{sys.executable}" fill.py disk/shop.linetilt 0\ncp -r disk kept\numount disk\n'
    )
    (tmp_path / "fill.py").write_text(FULL)
    alone = ["unshare", "-m" if os.geteuid() == 0 else "-rm"]
    if (
        shutil.which("unshare") is None
        or subprocess.run([*alone, "mount", "-t", "tmpfs", "tmpfs", "/mnt"], capture_output=True).returncode
    ):
        pytest.skip("no memory disk can be mounted here")
    answer = subprocess.run([*alone, "sh", "fill.sh"], cwd=tmp_path, capture_output=True, text=True)
    *shots, sentence, after, _ = answer.stdout.split("\n")
    assert ("the disk is full" in sentence or "the photo could not be kept" in sentence) and parts(sentence), (
        answer.stderr
    )
    assert after == f"[] {12 + len(shots)}"
    kept = tmp_path / "kept"
    with lt.SessionBook(kept / "shop.linetilt") as book:
        assert book.shots(1)["shot_id"].tolist()[12:] == list(map(int, shots)) and book.check() == []
        assert not list(book.photo_folder.glob(".*"))


READ_ONLY = """
import os, sys
import linetilt as lt
lt.SessionBook  # imported while Python's own files may be read
if os.geteuid() == 0:
    os.setgid(65534); os.setuid(65534)  # the administrator may write everywhere
with lt.SessionBook(sys.argv[1]) as book:
    try:
        book.add_shot(1, "7", photo=b"new")
    except lt.BookError as error:
        print(error)
    print(len(book.shots()), book.check())
"""


def test_photos_that_may_only_be_read():
    folder = Path(tempfile.mkdtemp())  # pytest's own folders are closed to other users
    try:
        os.chmod(folder, 0o777)
        with lt.SessionBook(folder / "shop.linetilt") as book:
            filled(book)
        os.chmod(folder / "shop.linetilt", 0o666), os.chmod(book.photo_folder, 0o555)
        sentence, after, _ = python(READ_ONLY, folder / "shop.linetilt").communicate()[0].split("\n")
        assert "the photo could not be kept" in sentence and "Permission denied" in sentence and parts(sentence)
        assert after == "3 []"
    finally:
        os.chmod(book.photo_folder, 0o755)
        shutil.rmtree(folder)


def test_a_book_that_is_taken_away_while_it_is_open(path):
    with lt.SessionBook(path) as book:
        path.rename(path.with_name("away"))
        with pytest.raises(
            lt.BookError,
            match="moved or deleted while it was open; expected it where it was opened; .*put the file back",
        ) as refusal:
            book.add_golfer("x")
        path.with_name("away").rename(path)
        assert parts(str(refusal.value)) and book.add_golfer("x")


def test_a_write_lock_that_is_never_let_go(path):
    holder = (
        "import sqlite3, sys, time\ndb = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "db.execute('BEGIN IMMEDIATE')\nprint('held', flush=True)\ntime.sleep(600)"
    )
    before = everything(path)
    process = python(holder, path)
    try:
        assert process.stdout.readline() == "held\n"
        with lt.SessionBook(path, wait_s=0.2) as book:
            with pytest.raises(
                lt.BookError,
                match=r"another program keeps the book busy; expected it to let go within 0.2 s; .*close the other",
            ):
                book.add_shot(1, "7", photo=PHOTO)
            assert len(book.shots(1)) == 12  # reading goes on
    finally:
        process.kill(), process.communicate()
    assert everything(path) == before
    with lt.SessionBook(path) as book:  # the lock died with its holder
        assert book.add_shot(1, "7") == 13


# Paths


@pytest.mark.parametrize(
    "name",
    [
        "Zoë's büch 🏌.linetilt",
        "two\nlines.linetilt",
        "per%20cent?mode=ro#x.linetilt",
        " ",
        "-x",
        "no suffix",
        "'; DROP TABLE shot;--",
    ],
)
def test_odd_names_are_only_names(tmp_path, name):
    with lt.SessionBook(tmp_path / name) as book:
        filled(book)
    with lt.SessionBook(tmp_path / name) as book:
        assert book.path.name == name and len(book.shots()) == 3 and book.check() == []
    assert {entry.name for entry in tmp_path.iterdir()} == {name, book.photo_folder.name}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("", "is a folder"),
        (".", "is a folder"),
        ("a\0b", "path is"),
        (None, "path is None"),
        (7, "path is 7"),
        (b"x", "path is b'x'"),
        ("x" * 300, "cannot be looked at"),
        ("nowhere/shop.linetilt", "cannot be opened there"),
        ("letter/shop.linetilt", "cannot be"),
        ("/dev/null", "is a device"),
    ],
)
def test_a_path_where_no_book_can_be(tmp_path, monkeypatch, name, words):
    monkeypatch.chdir(tmp_path)
    Path("letter").write_text("Dear Robin")
    with pytest.raises(lt.BookError) as refusal:
        lt.SessionBook(name)
    assert words in str(refusal.value) and parts(str(refusal.value))
    assert [entry.name for entry in tmp_path.iterdir()] == ["letter"] and Path("letter").read_text() == "Dear Robin"


# Damage


def spoiled(content, how, chance):
    """A book's content with something wrong in it."""
    content, size = bytearray(content), 4096
    if how == "bytes flipped":
        for _ in range(chance.choice([1, 5, 50, 500])):
            content[chance.randrange(len(content))] = chance.randrange(256)
    elif how in ("page of noise", "page of zeros"):
        place = chance.randrange(len(content) // size) * size
        content[place : place + size] = chance.randbytes(size) if how == "page of noise" else bytes(size)
    elif how == "cut short":
        del content[chance.randrange(len(content)) :]
    else:
        lost = {"header zeroed": 100, "first page zeroed": size}[how]
        content[:lost] = bytes(lost)
    return bytes(content)


DAMAGES = ("bytes flipped", "page of noise", "page of zeros", "cut short", "header zeroed", "first page zeroed")


def use(path):
    """Ask a book everything; return the sentences of the kit that were raised. Any other exception is a fault."""
    said = []

    def ask(call):
        try:
            call()
        except (lt.BookError, lt.InputError) as error:
            said.append(str(error))

    def all_of_it():
        with lt.SessionBook(path) as book:
            for call in (
                book.golfers,
                book.bags,
                book.sessions,
                book.current_session,
                book.shots,
                book.budgets,
                book.plans,
                book.bends,
                book.history,
                book.check,
                lambda: book.bag(1),
                lambda: book.clubs(1, session=1),
                lambda: book.shots(1),
                lambda: book.history("shot", 2),
                lambda: book.marks(1),
                lambda: book.budgets(1),
                lambda: book.last_plan(1),
                lambda: lt.session_shots(book, 1),
                lambda: lt.session.session_budgets(book, 1),
                lambda: lt.session.standing(book, 1),
                lambda: lt.session.handed_plan(book, 1),
                lambda: book.photo(1),
                lambda: book.gauge_readings(1),
                lambda: book.setting(1, "cap_deg"),
            ):
                ask(call)

    ask(all_of_it)
    return said


def rows(book):
    """A book's shots by id, as dicts of what can be compared."""
    return {
        row["shot_id"]: {name: repr(value) for name, value in row.items()} for row in book.shots().to_dict("records")
    }


@pytest.mark.parametrize("how", DAMAGES)
def test_a_damaged_book_is_told_and_rescued(path, tmp_path, how):
    with lt.SessionBook(path) as book:
        for n in range(40):
            book.add_shot(1, "5", mark=MARK, note=f"more {n} " * 10)
        book.add_plan(1, pd.DataFrame({"club": ["5"], "bend_deg": [0.5]}))
        book.keep_setting(1, "cap_deg", 1.5)
        whole, tables = rows(book), book.golfers()
    good, chance, saved = path.read_bytes(), random.Random(how), []
    for trial in range(1 if "zeroed" in how else 8):
        bad = tmp_path / f"bad{trial}.linetilt"
        bad.write_bytes(spoiled(good, how, chance))
        before = bad.read_bytes()
        new = tmp_path / f"new{trial}.linetilt"
        try:
            report = lt.rescue_book(bad, new).set_index("kind")
        except lt.BookError as error:
            assert parts(str(error)) and not new.exists()
            report = None
        assert bad.read_bytes() == before  # the rescue leaves it byte for byte
        use(bad)
        if report is not None:
            said = [sentence.replace(str(tmp_path), "") for sentence in use(new)]
            assert not [sentence for sentence in said if "damaged" in sentence or "answers" in sentence]
            with lt.SessionBook(new) as book:
                found = rows(book)
                saved.append(len(found))
                if (
                    how != "bytes flipped"
                ):  # a flipped byte within a number leaves another number: SQLite keeps no sums of its pages
                    older = set(range(1, 4)) if report.loc["shot", "older"] else set()
                    assert all(found[shot] == whole[shot] for shot in found if shot not in older)
                if "zeroed" in how:
                    assert (
                        found == whole
                        and report["lost"].sum() == 0
                        and book.golfers().equals(tables)
                        and book.setting(1, "cap_deg") == 1.5
                    )
                book.add_golfer("goes on")
    assert saved and max(saved) >= 10


def test_a_book_cut_to_nothing_is_not_taken_for_a_new_one(path):
    path.write_bytes(b"")
    with pytest.raises(
        lt.BookError,
        match="is empty, and shop.linetilt-photos beside it is not; expected the book of these photos; put your last "
        "copy",
    ) as refusal:
        lt.SessionBook(path)
    assert parts(str(refusal.value)) and path.read_bytes() == b""


def test_what_is_no_damaged_book_is_not_rescued(path, tmp_path):
    (tmp_path / "letter").write_text("Dear Robin, " * 1000)
    for damaged, new, words in (
        ("letter", "a", "take your last copy"),
        ("nowhere", "a", "there is no file"),
        (path, path, "exists already"),
    ):
        with pytest.raises(lt.BookError, match=words) as refusal:
            lt.rescue_book(tmp_path / damaged, tmp_path / new)
        assert parts(str(refusal.value))
    assert not (tmp_path / "a").exists()


def test_a_healthy_book_is_rescued_whole(path, tmp_path):
    report = lt.rescue_book(path, tmp_path / "new.linetilt")
    assert (
        everything(tmp_path / "new.linetilt") == everything(path) and report["lost"].sum() == 0 == report["older"].sum()
    )
    assert {file.name for file in path.with_suffix(".linetilt-photos").iterdir()} == {
        file.name for file in (tmp_path / "new.linetilt-photos").iterdir()
    }


def test_a_file_is_whole_or_not_there(tmp_path, monkeypatch):
    write_whole(tmp_path / "folder" / "a", b"first")
    monkeypatch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(
        lt.BookError, match="the report could not be kept as .*No space left.*expected a folder with free space"
    ) as refusal:
        write_whole(tmp_path / "folder" / "a", b"second", "the report")
    assert parts(str(refusal.value))
    assert [file.read_bytes() for file in (tmp_path / "folder").iterdir()] == [b"first"]


def test_budgets_of_shots_with_and_without_a_mark(path):
    with lt.SessionBook(path) as book:
        judged = book.add_shot(1, "7", lie=JUDGED)
        bare = book.add_shot(1, "7", mark={"tilt_deg": 1.0})
        marks, lies = book.budgets(), lt.session.session_budgets(book, 1)
        assert marks["shot_id"].tolist() == list(range(1, 13)) and len(book.budgets(1)) == 12
        # a lie that somebody judged has no budget; one that follows from a print has, whether or not its mark has one
        assert set(lies["shot_id"]) == {*range(1, 13), bare} and judged not in set(lies["shot_id"])
        assert lies.groupby("shot_id")["share"].sum().tolist() == pytest.approx([1.0] * 13)
