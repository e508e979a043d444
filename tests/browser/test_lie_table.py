"""The lie table's notebook in a real browser: what is entered changes table and chart, and is there again after a new kernel."""

import json
import re

CHART = """() => {
    const plot = document.querySelector('.js-plotly-plot'), trace = plot.data.find(trace => trace.name === 'after the bend');
    return {drawn: plot.querySelectorAll('.scatterlayer .trace').length, bent: [...trace.y]};
}"""


def section(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def row(page, club):
    """Return the words in a club's row of the bag's table."""
    return page.locator(".lt-bag tr", has=page.locator("th", has_text=re.compile(f"^{club}$"))).inner_text().split("\t")


def test_limits_bench_sheet_and_bend(run_notebook):
    page = run_notebook("3_lie_table.ipynb")
    page.wait_for_selector(".js-plotly-plot .scatterlayer .trace")
    assert "Enough: after 31 balls" in page.locator(".lt-text h3").first.inner_text()
    assert row(page, "5")[:3] == ["5", "bend 1.25° upright", "yes"]
    before = page.evaluate(CHART)
    section(page, "Limits and bench")
    page.get_by_role("button", name="0.5°", exact=True).focus()
    page.keyboard.press("Enter")
    page.locator(".lt-bag", has_text="bend 1.5° upright").wait_for()
    page.wait_for_function(f"before => JSON.stringify(({CHART})().bent) !== before", arg=json.dumps(before["bent"], separators=(",", ":")))
    page.get_by_label("Golfer's own cap, °").fill("0,5")
    page.keyboard.press("Enter")
    page.locator(".lt-bag", has_text="(part)").wait_for()
    page.get_by_label("Golfer's own cap, °").fill("much")
    page.keyboard.press("Enter")
    page.get_by_role("alert").filter(has_text="cap is 'much'").wait_for()
    page.get_by_label("Golfer's own cap, °").fill("")
    page.keyboard.press("Enter")
    section(page, "Bench sheet")
    page.get_by_role("button", name="Keep the plan and make the sheet").click()
    with page.expect_download() as saved:
        page.get_by_role("link", name="save a copy").click()
    assert "Bench sheet: Robin Demo" in saved.value.path().read_text()
    section(page, "After the bend")
    page.get_by_label("Gauge reads now, °").fill("62.7")
    page.get_by_role("button", name="Enter the bend").click()
    page.get_by_role("status").filter(has_text="Entered: the 4 was bent 1.5° upright").wait_for()
    page.get_by_role("button", name="Undo the last entry").click()
    page.get_by_role("status").filter(has_text="Taken back: bend added, club 4").wait_for()


def test_letters_typed_on_the_panel_delete_nothing(run_notebook):
    page = run_notebook("3_lie_table.ipynb")
    cells = page.locator(".jp-Cell").count()
    page.get_by_role("button", name="Club by club", exact=True).focus()
    for key in ("d", "d", "x"):
        page.keyboard.press(key)
    assert page.locator(".jp-Cell").count() == cells and page.locator(".lt-bag").count() == 1
