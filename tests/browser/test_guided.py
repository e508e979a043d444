"""A fitter's afternoon in a real browser: the four guided notebooks on one book, from a clean book to a bend list,
through reloads and restarts."""

import re
import shutil

import linetilt as lt
import pytest
from linetilt.session.middle import standing

from .conftest import ROOT, WAIT_S, Pages, Server
from .test_dispersion import READ, handle
from .test_photos import LOOKS, SAID, SAYS, choose, click, large_photo, said, wait_look

NB1, NB2, NB3, NB4 = "1_marking_setup.ipynb", "2_photo_analysis.ipynb", "3_lie_table.ipynb", "4_dispersion.ipynb"
GOLFER = "Robin Ash"
PHOTOS = ("6-1.jpg", "6-2.jpg", "6-4.jpg", "8-4.jpg", "8-5.jpg")


@pytest.fixture(scope="module")
def server(browser, tmp_path_factory):
    """JupyterLab as `python -m linetilt` starts it, on a book that is not there yet."""
    folder = tmp_path_factory.mktemp("guided")
    server = Server(folder, book=folder / "books" / "shop.linetilt")
    server.book = folder / "books" / "shop.linetilt"
    yield server
    server.stop()


@pytest.fixture
def pages(server, browser):
    with Pages(server, browser) as pages:
        yield pages


def upload(page, label, path):
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name=label).click()
    chooser.value.set_files(path)


def drag(page, name, across):
    """Drag the handle of that name by so many screen pixels."""
    mark = page.get_by_role("button", name=name)
    mark.wait_for(state="visible")
    mark.scroll_into_view_if_needed()
    box = mark.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + across / 2, y, steps=3)
    page.mouse.move(x + across, y, steps=3)
    page.mouse.up()


def set_up(page):
    """Golfer, hand, units, clubs by hand and by CSV, net."""
    page.get_by_text("No golfer yet.").wait_for()
    page.get_by_label("New golfer's name").fill(GOLFER)
    page.get_by_label("New golfer is").select_option("left-handed")
    click(page, "Enter new golfer")
    page.get_by_text(f"{GOLFER} is in the book.").wait_for()
    page.get_by_label("Plays").select_option("right-handed")
    page.get_by_label("Distances in").select_option("yards")
    page.get_by_label("Ball to net, yards").fill("3,28")
    page.keyboard.press("Enter")
    page.get_by_text("started 1.9° off the line").wait_for()
    page.get_by_label("The golfer", exact=True).select_option("draws a little")
    page.get_by_text("2.0° in-to-out, ±3.0°").first.wait_for()
    page.get_by_label("New club").fill("6")
    page.get_by_label("its loft in degrees").fill("30")
    click(page, "Add club")
    page.get_by_text("Club 6 is in the bag.").wait_for()
    page.get_by_label("length of the score lines in millimetres, club 6").fill("52")
    page.keyboard.press("Tab")
    upload(page, "Choose a file", ROOT / "demo_photos" / "bag.csv")
    page.get_by_text("There already, and left as they were: 6.").wait_for()
    click(page, "Enter 7 clubs")
    page.get_by_text("Entered: 4, 5, 7, 8, 9, PW, SW.").wait_for()
    click(page, "Take back the last entry")  # the list is one entry
    page.get_by_text("Taken back: clubs 4, 5, 7, 8, 9, PW, SW added.").wait_for()
    upload(page, "Choose a file", ROOT / "demo_photos" / "bag.csv")
    click(page, "Enter 7 clubs")
    page.get_by_label("loft in degrees, club SW").wait_for()


def measure(page, server, tmp_path):
    """A few photos from a folder, one large one by upload; a handle, a shot set aside, an undo."""
    page.locator(".jp-OutputArea").get_by_label("Folder", exact=True).fill(str(server.root / "few"))
    click(page, "Use this folder")
    page.get_by_text("5 photos in this folder").wait_for()
    click(page, "Measure all new photos (5)")
    wait_look(page, *(f"{name}:to look at" for name in PHOTOS))
    choose(page, "6-1.jpg")
    page.get_by_role("button", name="Count it", exact=True).and_(page.locator(":enabled")).wait_for()
    click(page, "Count it")
    wait_look(page, "✓ 6-1.jpg:counted")
    page.locator(SAID, has_text="6-2.jpg").wait_for()
    page.get_by_label("Reason").select_option("heavy strike")
    click(page, "Set it aside")
    wait_look(page, "6-2.jpg:heavy strike")
    click(page, "Undo")
    wait_look(page, "6-2.jpg:to look at")
    page.locator(SAID, has_text="6-2.jpg: club 6, to look at").wait_for()
    before = said(page)
    click(page, "Move the marks by hand")
    drag(page, "U, upper end", -25)
    page.wait_for_function(f"before => {SAYS} !== before", arg=before)
    for name in ("6-2.jpg", "6-4.jpg", "8-4.jpg"):
        page.locator(SAID, has_text=f"{name}: club").wait_for()
        click(page, "Count it")
        wait_look(page, f"✓ {name}:counted")
    page.locator(SAID, has_text="8-5.jpg: club").wait_for()
    page.get_by_label("Reason").select_option("double print")
    click(page, "Set it aside")
    wait_look(page, "✕ 8-5.jpg:double print")
    upload(page, "Upload photos", large_photo(server, tmp_path / "6-5.jpg"))
    page.get_by_text("Arrived: 6-5.jpg").wait_for(timeout=1000 * WAIT_S)
    wait_look(page, "uploaded/6-5.jpg:to look at")
    choose(page, "uploaded/6-5.jpg")
    click(page, "Count it")
    wait_look(page, "✓ uploaded/6-5.jpg:counted")
    return page.evaluate(LOOKS)


def test_from_a_clean_book_to_a_bend_list(pages, server, tmp_path):
    (server.root / "few").mkdir()
    for name in PHOTOS:
        shutil.copy(ROOT / "demo_photos" / "photos" / "perrin" / name, server.root / "few")

    first = pages.run(NB1)
    set_up(first)
    photos = pages.run(NB2)
    looks = measure(photos, server, tmp_path)

    # the kernel dies, the page is loaded again: everything is found
    pages.start_again(photos, NB2)
    wait_look(photos, "✓ uploaded/6-5.jpg:counted")
    assert photos.evaluate(LOOKS) == looks
    pages.load_again(first, NB1)
    first.get_by_text(f"with {GOLFER}, 6 shots so far").wait_for()
    assert first.get_by_label("loft in degrees, club SW").input_value() == "56"

    # the bag, and a sheet for the bench
    bag = pages.run(NB3)
    with lt.SessionBook(server.book) as book:
        step = standing(book, 1).fit.next_step()
        assert bag.locator(".lt-text h3").first.inner_text().startswith(step.sentence)
        plan = lt.session_plan(book, 1).set_index("club")
    for club in ("6", "8"):
        row = bag.locator(".lt-bag tr", has=bag.locator("th", has_text=re.compile(f"^{club}$"))).inner_text()
        assert (f"bend {plan.bend_deg[club]:g}° upright" in row) == (plan.bend_deg[club] > 0)
    click(bag, "Bench sheet")
    click(bag, "Keep the plan and make the sheet")
    with bag.expect_download() as saved:
        bag.get_by_role("link", name="save a copy").click()
    assert f"Bench sheet: {GOLFER}" in saved.value.path().read_text()

    # where the balls land
    flight = pages.run(NB4)
    flight.wait_for_selector(".js-plotly-plot .main-svg")
    before = flight.evaluate(READ)
    handle(flight, "Bend").focus()
    for _ in range(4):
        flight.keyboard.press("ArrowRight")
    flight.wait_for_function(
        f"before => ({READ})().after < before - 0.3", arg=before["after"]
    )  # upright: further left, which is minus in the chart
    assert flight.evaluate(READ)["before"] == before["before"]
    with lt.SessionBook(server.book) as book:
        assert len(book.golfers()) == 1 and book.shots(1)["counted"].sum() == 5 and len(book.plans(1))
    assert not (server.book.parent / "demo.linetilt").exists()


FOCUSED = """() => {
    const focused = document.activeElement;
    const labels = (focused.getAttribute('aria-labelledby') || '').split(' ').map(id => document.getElementById(id)).filter(Boolean);
    return (focused.getAttribute('aria-label') || (labels[0] || focused.labels?.[0] || focused).innerText || '').trim();
}"""


class Keys:
    """A page used without a mouse: Tab goes on, Shift+Tab back, as far as the control of that name."""

    def __init__(self, page):
        self.page = page

    def to(self, name, key="Tab"):
        for _ in range(150):
            if self.page.evaluate(FOCUSED).startswith(name):
                return self
            self.page.keyboard.press(key)
        raise AssertionError(f"{name} cannot be reached by {key}")

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)
        return self

    def type(self, words):
        self.page.keyboard.type(words)
        return self


CONTROLS = {"button", "checkbox", "combobox", "link", "listbox", "slider", "spinbutton", "switch", "textbox"}


def unnamed(page):
    """Return the controls in the notebook's outputs whose accessible name, as the browser works it out, is empty; and
    how many there are in all."""
    browser = page.context.new_cdp_session(page)
    found = []
    for place in range(page.locator(".jp-OutputArea-output").count()):
        output = browser.send(
            "Runtime.evaluate", {"expression": f"document.querySelectorAll('.jp-OutputArea-output')[{place}]"}
        )["result"]
        nodes = browser.send("Accessibility.queryAXTree", {"objectId": output["objectId"]})["nodes"]
        controls = [node for node in nodes if not node["ignored"] and node["role"]["value"] in CONTROLS]
        found += [
            (node["role"]["value"], node.get("name", {}).get("value", "").strip(), node["backendDOMNodeId"])
            for node in controls
        ]
    nameless = [
        browser.send("DOM.describeNode", {"backendNodeId": node})["node"].get("attributes")
        for _, name, node in found
        if not name
    ]
    browser.detach()
    return nameless, len(found)


def test_keyboard_alone_from_a_golfer_to_a_bend_list(pages, server):
    """Each Tab goes forward from where the page is after Run All: nothing is focused for the test, nothing clicked."""
    few = server.root / "keys"
    few.mkdir()
    for name in ("6-4.jpg", "8-4.jpg"):
        shutil.copy(ROOT / "demo_photos" / "photos" / "perrin" / name, few)

    page = pages.run(NB1)
    keys, cells = Keys(page), page.locator(".jp-Cell").count()
    keys.to("New golfer's name").type("Kim Lark").to("Enter new golfer").press("Space")
    page.get_by_text("Kim Lark is in the book.").wait_for()
    for label, loft in (("6", "30"), ("8", "38")):
        keys.to("New club").type(label).to("its loft in degrees").type(loft).to("Add club").press("Enter")
        page.get_by_text(f"Club {label} is in the bag.").wait_for()
    keys.to("Score lines, all clubs").type("52").to("Use for all clubs").press("Space")
    page.wait_for_function(
        "() => [...document.querySelectorAll('input')].filter(input => input.value === '52').length === 2"
    )
    keys.to("kind of head, club 8").press("f")
    keys.to("Ball to net").type("4").press("Enter")
    page.get_by_text(re.compile("started 1.[46]° off the line")).wait_for()  # 4 m or 4 yards
    nameless, controls = unnamed(page)
    assert not nameless and controls > 35
    assert page.locator(".jp-Cell").count() == cells

    page = pages.run(NB2)
    keys, cells = Keys(page), page.locator(".jp-Cell").count()
    keys.to("Folder").type(str(few)).to("Use this folder").press("Space")
    page.get_by_text("2 photos in this folder").wait_for()
    wait_look(page, "8-4.jpg:new")
    keys.to("Photos").press("ArrowDown")
    wait_look(page, "8-4.jpg:to look at")
    keys.press("ArrowUp")
    wait_look(page, "6-4.jpg:to look at")
    page.locator(SAID, has_text="6-4.jpg: club 6, to look at").wait_for()
    keys.press("b").to("Reason").press("m").to("Set it aside").press(
        "Enter"
    )  # "b" is a notebook's shortcut for a new cell: not from here
    wait_look(page, "6-4.jpg:mat moved")
    keys.to("Undo").press("Space")
    wait_look(page, "6-4.jpg:to look at")
    page.locator(SAID, has_text="6-4.jpg: club 6, to look at").wait_for()
    keys.to("Move the marks by hand").press("Space")
    page.get_by_role("button", name="U, upper end").wait_for(state="visible")
    before = said(page)
    keys.to("U, upper end").press("Shift+ArrowLeft", "Shift+ArrowLeft", "ArrowUp")
    page.wait_for_function(f"before => {SAYS} !== before", arg=before)
    assert page.evaluate(FOCUSED).startswith("U, upper end")
    nameless, controls = unnamed(page)
    assert not nameless and controls > 20
    for name in ("6-4.jpg", "8-4.jpg"):
        page.locator(SAID, has_text=f"{name}: club").wait_for()
        keys.to("Count it", "Shift+Tab").press("Space")
        wait_look(page, f"✓ {name}:counted")
    assert page.locator(".jp-Cell").count() == cells

    page = pages.run(NB3)
    keys = Keys(page)
    keys.to("Limits and bench").press("Space").to("0.5°").press("Space")
    page.wait_for_function(
        "() => document.querySelector('.mod-active[title], .mod-active') && "
        "[...document.querySelectorAll('.mod-active')].some(b => b.innerText === '0.5°')"
    )
    keys.to("After the bend", "Shift+Tab").press("Space").to("Gauge reads now")
    assert not unnamed(page)[0]
    keys.to("Where shots miss", "Shift+Tab").press("Enter").to("Middle off the line").type("4").to("Scatter").type(
        "8"
    ).to("Keep this miss").press("Space")
    page.get_by_text(re.compile("6: middle 4 (m|yd) left, scatter 8")).wait_for()
    nameless, controls = unnamed(page)
    assert not nameless and controls > 14
    keys.to("Bench sheet", "Shift+Tab").press("Space").to("Keep the plan and make the sheet").press("Enter")
    page.get_by_role("link", name="save a copy").wait_for()
    with page.expect_download():
        keys.to("save a copy").press("Enter")

    page = pages.run(NB4)
    page.wait_for_selector(".js-plotly-plot .main-svg")
    before = page.evaluate(READ)
    Keys(page).to("Bend upright").press("ArrowRight", "ArrowRight", "ArrowRight")
    page.wait_for_function(f"before => ({READ})().after < before - 0.2", arg=before["after"])
    Keys(page).to("Own carry, wind and air").press("Space").to("Altitude")
    nameless, controls = unnamed(page)
    assert not nameless and controls > 16
