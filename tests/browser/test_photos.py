"""The photo notebook in a real browser: photos in, counted, set aside, moved by hand, and all of it there after a
restart."""

import json
import re
import shutil

import cv2
import pytest
from faces.camera import take_photo

NOTEBOOK = "2_photo_analysis.ipynb"
PHOTOS = ("6-1.jpg", "6-2.jpg", "6-3.jpg", "6-4.jpg")
LIST = ".widget-select select"
LOOKS = """() => [...document.querySelectorAll('.widget-select select option')].map(option => option.text.replaceAll('\\u00a0', ' '))"""
SAID = ".lt-text[role=status]:has(h3)"
SAYS = f"document.querySelector('{SAID}').innerText"
SHIFT = 30  # screen pixels that a handle is dragged


@pytest.fixture
def open_panel(lab_server, run_notebook):
    """Return a function that runs the notebook on a book of its own and a small folder, and returns the page with the
    panel in sight."""

    def run(name, photos=PHOTOS, bag="../demo_photos/bag.csv"):
        folder = lab_server.root / name
        folder.mkdir(exist_ok=True)
        for photo in photos:
            shutil.copy(lab_server.root / "demo_photos" / "photos" / "perrin" / photo, folder)
        notebook = json.loads((lab_server.root / "notebooks" / NOTEBOOK).read_text())
        names = {
            "BOOK_FILE": f"../{name}.linetilt",
            "FOLDER": f"../{name}",
            "BAG": bag,
            "SHOT_LIST": "../demo_photos/shots.csv",
        }
        panel = next(
            place for place, cell in enumerate(notebook["cells"]) if "PhotosPanel(intake)" in "".join(cell["source"])
        )
        del notebook["cells"][panel + 1 :]  # what comes after is nbval's
        for cell in notebook["cells"]:
            if cell["cell_type"] == "code" and "BOOK_FILE = None" in (source := "".join(cell["source"])):
                cell["source"] = re.sub(
                    r"^(\w+) = None.*$", lambda found: f"{found[1]} = {names[found[1]]!r}", source, flags=re.M
                )
        (lab_server.root / "notebooks" / f"{name}.ipynb").write_text(json.dumps(notebook))
        page = run_notebook(f"{name}.ipynb")
        page.wait_for_selector(LIST)
        return page

    return run


def click(page, name, exact=True):
    page.get_by_role("button", name=name, exact=exact).click()


def wait_look(page, *looks):
    """Wait until the list holds an entry for each of these texts: a photo's name and what is said of it, with a colon
    between."""
    page.wait_for_function(
        f"looks => {{ const all = ({LOOKS})(); return looks.every(look => all.some(text => look.every(part => text.includes(part)))); }}",
        arg=[look.split(":") for look in looks],
    )


def choose(page, name):
    looks = page.evaluate(LOOKS)
    page.locator(LIST).select_option(index=next(place for place, look in enumerate(looks) if f" {name} " in look))


def said(page):
    return page.locator(SAID).inner_text()


def large_photo(lab_server, path):
    """Write a demo photo as a phone with 12 megapixels would, with its extra data behind the picture: above 12 MiB."""
    small = cv2.imread(str(lab_server.root / "demo_photos" / "photos" / "perrin" / "6-5.jpg"))
    large = cv2.resize(small, (4000, 4000 * small.shape[0] // small.shape[1]), interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(path), large, [cv2.IMWRITE_JPEG_QUALITY, 95])
    content = path.read_bytes()
    path.write_bytes(content + bytes(13 * 2**20 - len(content)))
    return path


def test_from_photos_to_a_book_that_a_restart_brings_back(open_panel, pages, lab_server, tmp_path):
    page = open_panel("shop")
    wait_look(page, "6-1.jpg:new", "6-4.jpg:club 6, new")
    choose(page, "6-2.jpg")
    wait_look(page, "6-2.jpg:to look at")
    page.locator(SAID, has_text="6-2.jpg: club 6, to look at").wait_for()
    assert re.search(r"Toe (up|down) about \d\.\d°, ±\d\.\d°", said(page)) or "Level" in said(page)
    click(page, "Count it")
    wait_look(page, "✓ 6-2.jpg:counted", "6-3.jpg:to look at")  # the next is measured as it comes up
    click(page, "Why? Show every step")
    page.get_by_role("img", name="Photo 6-3.jpg with what every step found").wait_for()
    assert page.locator(".lt-text li").all_inner_texts()[0].startswith("picture: ")
    click(page, "Why? Show every step")
    page.get_by_role("img", name="Photo 6-3.jpg of a clubface, with what was found").wait_for()
    page.get_by_label("Reason").select_option("double print")
    click(page, "Set it aside")
    wait_look(page, "6-3.jpg:double print", "6-4.jpg:to look at")
    click(page, "Undo")
    wait_look(page, "6-3.jpg:to look at")

    # a handle is dragged, and the numbers follow
    page.locator(SAID, has_text="6-3.jpg: club 6, to look at").wait_for()
    click(page, "Move the marks by hand")
    handle = page.get_by_role("button", name="U, upper end")
    handle.wait_for(state="visible")
    handle.scroll_into_view_if_needed()
    before, box = said(page), handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - SHIFT / 2, y, steps=3)
    assert page.locator(".lt-loupe").is_visible()
    page.mouse.move(x - SHIFT, y, steps=3)
    page.mouse.up()
    page.wait_for_function(f"before => {SAYS} !== before", arg=before)
    assert abs(handle.bounding_box()["x"] - box["x"] + SHIFT) < 2
    by_hand = said(page)

    # 12 MiB by upload
    with page.expect_file_chooser() as chooser:
        page.locator(".widget-upload").click()
    chooser.value.set_files(large_photo(lab_server, tmp_path / "6-5.jpg"))
    page.wait_for_function("() => document.body.innerText.includes('Arrived: 6-5.jpg')", timeout=60_000)
    wait_look(page, "uploaded/6-5.jpg:to look at")
    looks = page.evaluate(LOOKS)

    pages.start_again(page, "shop.ipynb")
    wait_look(page, "✓ 6-2.jpg:counted", "uploaded/6-5.jpg:to look at")
    assert page.evaluate(LOOKS) == looks
    choose(page, "6-3.jpg")
    page.wait_for_function(f"text => {SAYS} === text", arg=by_hand)


def test_later_photos_are_compared_with_the_clean_face(open_panel, lab_server):
    """The clean face carries an old print; the later photo carries it as well, and a new one beside it. Two prints are
    refused where nothing says which is new."""
    folder = lab_server.root / "clean"
    folder.mkdir()
    for number in (1, 2):
        photo = take_photo(722, prints=number, hard=False, megapixels=1.6, finish="satin", ink="blue")
        cv2.imwrite(str(folder / f"7-{number}.jpg"), photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    (lab_server.root / "clean.csv").write_text(
        f"label,loft_deg,handed,score_line_length_mm\n7,34,{photo.handed},{photo.head.score_line_length_mm}\n"
    )
    page = open_panel("clean", [], "../clean.csv")
    choose(page, "7-2.jpg")
    wait_look(page, "7-2.jpg:refused")
    choose(page, "7-1.jpg")
    wait_look(page, "7-1.jpg:to look at")
    page.locator(SAID, has_text="7-1.jpg: club 7, to look at").wait_for()
    page.get_by_label("Reason").select_option("clean face")
    page.get_by_text("what it shows is left out of later photos of the same club").wait_for()
    click(page, "Set it aside")
    wait_look(page, "✕ 7-1.jpg:clean face")
    choose(page, "7-2.jpg")
    page.locator(SAID, has_text="7-2.jpg: club 7, refused").wait_for()
    click(page, "Measure it")
    wait_look(page, "7-2.jpg:to look at")


def test_keyboard_alone(open_panel):
    page = open_panel("keys")

    def press_until(key, name):
        """Press Tab until the control of that name has the focus, as somebody without a mouse does, then the key."""
        for _ in range(40):
            now = page.evaluate(
                "() => { const e = document.activeElement; return e.getAttribute('aria-label') || (e.labels?.[0] || "
                "e).innerText || e.placeholder || ''; }"
            )
            if now.strip().startswith(name):
                page.keyboard.press(key)
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"{name} cannot be reached by Tab")

    page.get_by_role("button", name="Look for new photos").focus()
    press_until("Enter", "Look for new photos")
    page.wait_for_function("() => document.body.innerText.includes('no new photos in the folder')")
    cells = page.locator(".jp-Cell").count()
    press_until("ArrowDown", "Photos")
    wait_look(page, "6-2.jpg:to look at")
    page.keyboard.press("b")  # a notebook's shortcut for a new cell: not from here
    press_until("Enter", "Count it")
    wait_look(page, "✓ 6-2.jpg:counted", "6-3.jpg:to look at")
    press_until("h", "Reason")
    press_until("Enter", "Set it aside")
    wait_look(page, "6-3.jpg:heavy strike", "6-4.jpg:to look at")
    press_until("Enter", "Undo")
    wait_look(page, "6-3.jpg:to look at")
    press_until("Enter", "Move the marks by hand")
    page.get_by_role("button", name="U, upper end").wait_for(state="visible")
    before = said(page)
    page.get_by_role("button", name="A, low heel").focus()
    press_until("Shift+ArrowLeft", "U, upper end")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    page.wait_for_function(f"before => {SAYS} !== before", arg=before)
    assert page.evaluate("() => document.activeElement.getAttribute('aria-label')").startswith("U, upper end")
    assert page.locator(".jp-Cell").count() == cells
