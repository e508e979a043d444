"""The first notebook in a real browser: what a fitter types is found again after the kernel was started anew."""

import linetilt as lt
import pytest
from faces.setup_scene import take_setup_photo

from .conftest import WAIT_S

NOTEBOOK = "1_marking_setup.ipynb"


@pytest.fixture
def named_book(lab_server):
    """The notebook with a book's name in its first cell, as a fitter changes it; gives the book's path."""
    notebook = lab_server.root / "notebooks" / NOTEBOOK
    before = notebook.read_text()
    notebook.write_text(before.replace("BOOK_FILE = None", 'BOOK_FILE = \\"shop.linetilt\\"'))
    yield notebook.parent / "shop.linetilt"
    notebook.write_text(before)


def test_what_was_typed_is_there_after_a_restart(pages, named_book, tmp_path):
    page = pages.run(NOTEBOOK)
    page.get_by_text("No golfer yet.").wait_for()
    page.get_by_label("New golfer's name").fill("Perrin Oldacre")
    page.get_by_label("New golfer is").select_option("left-handed")
    page.get_by_role("button", name="Enter new golfer", exact=True).click()
    page.get_by_text("Perrin Oldacre is in the book.").wait_for()
    page.get_by_label("New club").fill("7")
    page.get_by_label("its loft in degrees").fill("34")
    page.get_by_role("button", name="Add club", exact=True).click()
    page.get_by_text("Club 7 is in the bag.").wait_for()
    cell = page.get_by_label("lie by the gauge in degrees, club 7")
    cell.fill("61,5")
    cell.press("Tab")  # leaving the field enters it
    page.get_by_label("maker's lie in degrees, club 7").fill("steep")
    page.keyboard.press("Enter")
    page.get_by_text("expected a number, such as 34 or 61.5").wait_for()
    page.get_by_label("Ball to net, metres").fill("3")
    page.keyboard.press("Enter")
    page.get_by_text("started 1.9° off the line").wait_for()
    photo = take_setup_photo(
        11, handed="left", reference="cord", background="plain", pitch_deg=3, aim_down_deg=0, hard=False
    )
    two = take_setup_photo(
        13,
        second_line=True,
        handed="left",
        reference="cord",
        background="plain",
        pitch_deg=3,
        aim_down_deg=0,
        hard=False,
    )
    (tmp_path / "setup.jpg").write_bytes(photo.jpeg)
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Choose a photo").click()
    chooser.value.set_files(tmp_path / "setup.jpg")
    page.get_by_alt_text("the photo with what was found drawn on it").wait_for(timeout=1000 * WAIT_S)
    tilt = page.get_by_text("Lean of the line in the book").inner_text()

    # a photo that is refused is marked by hand
    (tmp_path / "two.jpg").write_bytes(two.jpeg)
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Choose a photo").click()
    chooser.value.set_files(tmp_path / "two.jpg")
    page.get_by_text("More than one line is seen on the ball").wait_for(timeout=1000 * WAIT_S)
    for name, end in (("L, lower point", two.line_ends[0]), ("U, upper point", two.line_ends[1])):
        mark, stage = page.get_by_role("button", name=name), page.locator(".lt-stage")
        mark.scroll_into_view_if_needed()
        box, frame = mark.bounding_box(), stage.bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(
            *(
                frame[edge] + frame[size] * at / full
                for edge, size, at, full in zip("xy", ("width", "height"), end, two.rgb.shape[1::-1], strict=True)
            ),
            steps=3,
        )
        page.mouse.up()
    page.get_by_role("button", name="Measure from these marks").click()
    page.get_by_text("Mind: placed by hand").wait_for()
    assert page.get_by_text("Lean of the line in the book").inner_text() != tilt

    pages.start_again(page, NOTEBOOK)
    page.get_by_text("with Perrin Oldacre, 0 shots so far").wait_for()
    assert page.get_by_label("Plays").input_value() == "left-handed"
    assert page.get_by_label("lie by the gauge in degrees, club 7").input_value() == "61.5"
    assert page.get_by_label("maker's lie in degrees, club 7").input_value() == ""
    assert page.get_by_label("Ball to net, metres").input_value() == "3"
    with lt.SessionBook(named_book) as book:
        kept = book.current_session()
        assert kept["net_distance_mm"] == 3000
        assert kept["setup_tilt_deg"] == pytest.approx(two.setup_tilt_deg, abs=4 * kept["u_setup_tilt_deg"])
        assert book.bag(int(kept["bag_id"]))["7"] == lt.Club(label="7", loft_deg=34, handed="left", gauge_lie_deg=61.5)
    assert (
        page.get_by_role("link", name="Download marking_strip_A4.svg").get_attribute("download")
        == "marking_strip_A4.svg"
    )
