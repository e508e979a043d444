"""The clinic's and the practice notebook in a real JupyterLab."""


def test_a_clinic_runs_from_signing_in_to_the_last_page(run_notebook):
    page = run_notebook("clinic.ipynb")
    text = " ".join(page.locator(".jp-OutputArea-output").all_inner_texts())
    assert "0012-linnet-oakshott.html" in text and "the book is whole" in text and "datapackage.json" in text
    page.wait_for_selector(".js-plotly-plot .main-svg")
    names = page.evaluate(
        "[...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => plot.data.map(trace => trace.name))"
    )
    assert "lie error, 95 % interval" in names and "strike" in names


def test_practice_shows_a_trend_and_an_honest_no(run_notebook):
    page = run_notebook("practice.ipynb")
    text = " ".join(page.locator(".jp-OutputArea-output").all_inner_texts())
    assert (
        "It changed over 5.6 weeks" in text
        and "No change yet: over 5.6 weeks" in text
        and "Target with the 7: hands 15 mm up" in text
    )
    page.wait_for_selector(".js-plotly-plot .main-svg")
