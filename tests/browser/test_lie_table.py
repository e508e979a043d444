"""The lie table's notebook in a real browser: what is entered changes table and chart, and is there again after a new
kernel."""

import json
import re

from linetilt.words.bag import bag_words, headline

CHART = """() => {
    const plot = document.querySelector('.js-plotly-plot'), trace = plot.data.find(trace => trace.name === 'after the bend');
    return {drawn: plot.querySelectorAll('.scatterlayer .trace').length, bent: [...trace.y]};
}"""


def section(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def row(page, club):
    """Return the words in a club's row of the bag's table."""
    return page.locator(".lt-bag tr", has=page.locator("th", has_text=re.compile(f"^{club}$"))).inner_text().split("\t")


def test_limits_bench_sheet_and_bend(run_notebook, demo_table):
    page = run_notebook("3_lie_table.ipynb")
    page.wait_for_selector(".js-plotly-plot .scatterlayer .trace")
    words = bag_words(demo_table()).set_index("club")
    assert page.locator(".lt-text h3").first.inner_text() == headline(demo_table())
    assert row(page, "8")[:3] == ["8", words["advice"]["8"], words["enough"]["8"]] and "upright" in words["advice"]["8"]
    before = page.evaluate(CHART)
    section(page, "Limits and bench")
    page.get_by_role("button", name="0.5°", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_label("Golfer's own cap, °").fill("0,5")
    page.keyboard.press("Enter")
    capped = bag_words(demo_table(step_deg=0.5, cap_deg=0.5)).set_index("club")["advice"]
    page.locator(".lt-bag", has_text=next(advice for advice in capped if advice.endswith("(part)"))).wait_for()
    assert {club: row(page, club)[1] for club in capped.index} == capped.to_dict()
    page.wait_for_function(
        f"before => JSON.stringify(({CHART})().bent) !== before", arg=json.dumps(before["bent"], separators=(",", ":"))
    )
    page.get_by_label("Golfer's own cap, °").fill("much")
    page.keyboard.press("Enter")
    page.get_by_role("alert").filter(has_text="cap is 'much'").wait_for()
    page.get_by_label("Golfer's own cap, °").fill("")
    page.keyboard.press("Enter")
    section(page, "Bench sheet")
    page.get_by_role("button", name="Keep the plan and make the sheet").click()
    with page.expect_download() as saved:
        page.get_by_role("link", name="save a copy").click()
    assert "Bench sheet: Perrin Oldacre" in saved.value.path().read_text()
    section(page, "After the bend")
    page.get_by_label("Club", exact=True).locator("visible=true").select_option("8")
    page.get_by_label("Gauge reads now, °").fill("62.5")  # 61.0 before
    page.get_by_role("button", name="Enter the bend").click()
    page.get_by_role("status").filter(has_text="Entered: the 8 was bent 1.5° upright").wait_for()
    page.get_by_role("button", name="Undo the last entry").click()
    page.get_by_role("status").filter(has_text="Taken back: bend added, club 8").wait_for()


def test_letters_typed_on_the_panel_delete_nothing(run_notebook):
    page = run_notebook("3_lie_table.ipynb")
    cells = page.locator(".jp-Cell").count()
    page.get_by_role("button", name="Club by club", exact=True).focus()
    for key in ("d", "d", "x"):
        page.keyboard.press(key)
    assert page.locator(".jp-Cell").count() == cells and page.locator(".lt-bag").count() == 1
