"""The pages in a real browser: they draw, they run no script of a golfer's, and they print on A4 and on Letter."""

import re
from pathlib import Path

import linetilt as lt
import pytest
from afternoon import afternoon

PAPER_PT = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    with afternoon(folder / "shop.linetilt") as book:
        book.change("golfer", 1, name="<script>document.title='owned'</script>")
        book.change("session", 1, place="<img src=x onerror=\"document.title='owned'\">")
        lt.golfer_report(book, 1, folder / "report.html")
        lt.bench_sheet(book, 1, folder / "bench.html")
        lt.handouts.clinic_summary(book, "2026-04-18", folder / "clinic.html")
    return folder


@pytest.fixture
def show(browser, pages):
    """Return a function that opens a page without a network and gives it back; no error and no request may have been
    seen."""
    opened, wrong = [], []

    def open_page(name):
        page = browser.new_page(viewport={"width": 1000, "height": 900})
        opened.append(page)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
        page.on("request", lambda request: wrong.append(request.url) if request.url.startswith("http") else None)
        page.goto((pages / name).as_uri())
        return page

    yield open_page
    for page in opened:
        page.close()
    assert not wrong


@pytest.mark.parametrize("paper", PAPER_PT)
def test_it_prints_on_one_or_two_pages(show, paper, tmp_path):
    for name, most in (("report.html", 2), ("bench.html", 1), ("clinic.html", 1)):
        page = show(name)
        if name == "report.html":
            page.wait_for_selector("#flight .main-svg")
        file = tmp_path / f"{name}.pdf"
        page.pdf(path=file, format=paper, print_background=True)
        sheets = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", file.read_bytes())
        assert 1 <= len(sheets) <= most, (name, len(sheets))
        assert all(abs(float(value) - wanted) < 2 for sheet in sheets for value, wanted in zip(sheet, PAPER_PT[paper]))


def test_nothing_hangs_over_the_edge(show):
    """At the width of either paper's text (186 mm and 192 mm at 96 px an inch) and of a phone, nothing needs scrolling
    sideways."""
    page = show("report.html")
    page.wait_for_selector("#flight .main-svg")
    for width in (703, 725, 412):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_names_stay_text_and_charts_are_drawn(show, pages):
    page = show("report.html")
    page.wait_for_selector("#flight .main-svg")
    assert (
        page.title().startswith("Lie and strike: <script>")
        and page.locator("h1").inner_text() == "<script>document.title='owned'</script>"
    )
    assert "<img src=x" in page.locator(".where").inner_text() and page.locator("img").count() == 4
    assert page.evaluate("[...document.images].every(image => image.naturalWidth === 520)")
    assert page.evaluate("document.querySelector('#strikes').data.length") >= 3
    for name in ("bench.html", "clinic.html"):
        assert "<script>document" in show(name).locator("body").inner_text()
        assert "owned" not in show(name).title().replace("document.title='owned'", "")
    assert Path(pages / "report.html").stat().st_size < 6_000_000
