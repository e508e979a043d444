"""One session over several notebooks, as a fitter has them open: what was understood is shown, and a notebook left open
asks who is hitting."""

import linetilt as lt
import pytest

from .conftest import Pages, Server

BALLS = [
    {"club": club, "tilt_deg": tilt, "net_left_mm": 20.0 * n}
    for n, (club, tilt) in enumerate([("7", -2.4), ("7", -2.0), ("5", -1.9), ("5", -2.6), ("9", -2.2)] * 2)
]


@pytest.fixture
def shop(browser, tmp_path):
    """Notebooks on a book of the fitter's own, and the book's path."""
    book = tmp_path / "own" / "shop.linetilt"
    server = Server(tmp_path, book)
    with Pages(server, browser) as pages:
        yield pages, book
    server.stop()


def test_a_notebook_left_open_asks_who_is_hitting(shop, tmp_path):
    pages, path = shop
    clubs = tmp_path / "list.csv"
    clubs.write_text(
        "Club;Loft;Lie;Length;Hand\n5 iron;26;61,5;38 1/4;Right\n7i;34;62,5;37;Right\n9;42;63,5;36;Right\n",
        encoding="cp1252",
    )
    setup = pages.run("1_marking_setup.ipynb")
    setup.get_by_label("New golfer's name").fill("Ansel Fairweather")
    setup.get_by_role("button", name="Enter new golfer").click()
    setup.get_by_role("status").filter(has_text="Ansel Fairweather is in the book").wait_for()
    setup.get_by_label("Clubs from CSV file").fill(str(clubs))
    setup.keyboard.press("Tab")
    setup.get_by_role("button", name="Load file", exact=True).click()
    setup.get_by_text("Understood of the file").wait_for()
    assert (
        setup.get_by_role("cell", name="38.25").count()
        and "5" in setup.get_by_role("cell", name="5", exact=True).all_inner_texts()
    )
    with lt.SessionBook(path) as book:
        assert len(book.clubs(1)) == 0  # nothing is entered before the fitter says so
    setup.get_by_role("button", name="Enter 3 clubs").click()
    setup.get_by_role("status").filter(has_text="Entered: 5, 7, 9.").wait_for()
    with lt.SessionBook(path) as book:
        book.change("session", 1, net_distance_mm=3000.0)
        lt.enter_readings(book, 1, [ball | {"ball": n} for n, ball in enumerate(BALLS)])
    table = pages.run("3_lie_table.ipynb")
    table.wait_for_selector(".js-plotly-plot .scatterlayer .trace")
    setup.get_by_label("New golfer's name").fill("Bryn Larkspur")
    setup.get_by_role("button", name="Enter new golfer").click()
    setup.get_by_role("status").filter(has_text="Bryn Larkspur is in the book").wait_for()
    table.get_by_role("button", name="Limits and bench", exact=True).click()
    table.get_by_role("button", name="0.5°", exact=True).click()
    table.get_by_role("alert").filter(has_text="works for Ansel Fairweather, and Bryn Larkspur was").first.wait_for()
    with lt.SessionBook(path) as book:
        assert book.setting(1, "rules") is None  # nothing was entered
    table.get_by_role("button", name="Stay with Ansel Fairweather").click()
    table.get_by_text("Who is hitting?").wait_for(state="hidden")
    table.get_by_role("button", name="0.25°", exact=True).click()
    setup.get_by_label("New club").fill("PW")
    setup.get_by_label("its loft in degrees").fill("46")
    setup.keyboard.press("Tab")
    setup.get_by_role("button", name="Add club").click()
    setup.get_by_text("Who is hitting?").locator("visible=true").first.wait_for()
    setup.get_by_role("button", name="Go to Ansel Fairweather").locator("visible=true").first.click()
    setup.get_by_text("Who is hitting?").first.wait_for(state="hidden")
    with lt.SessionBook(path) as book:
        assert book.clubs(1)["label"].tolist() == ["5", "7", "9"] and book.clubs(2).empty
