"""The gauge study: a published worked example, statsmodels' sums of squares, and intervals that hold."""

from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from linetilt.bench import gauge
from linetilt.handouts import charts
from linetilt.reading.photo import open_photo
from statsmodels.stats.anova import anova_lm

PUBLISHED = Path(__file__).parent / "published" / "aiag_gauge_study.csv"


def worked_example():
    """10 parts, 3 appraisers, 3 trials: Measurement Systems Analysis reference manual, AIAG, 4th ed. (2010), chapter
    III B.
    """
    table = pd.read_csv(PUBLISHED).melt("mark", var_name="run", value_name="reading")
    return table.assign(person=table["run"].str[0])


def simulated(rng, marks=8, people=3, repeats=3, sd_person=0.3, sd_both=0.2, sd=0.4):
    rows = pd.MultiIndex.from_product(
        [range(marks), range(people), range(repeats)], names=["mark", "person", "repeat"]
    ).to_frame(index=False)
    level = rng.normal(0, 2, marks)[rows["mark"]] + rng.normal(0, sd_person, people)[rows["person"]]
    both = rng.normal(0, sd_both, (marks, people))[rows["mark"], rows["person"]]
    return rows.assign(tilt_deg=level + both + rng.normal(0, sd, len(rows)))


def test_published_worked_example():
    """The printed ANOVA table and variance estimates of the manual; read here second-hand, in another program's test of
    them.
    """
    study = lt.gauge_study(worked_example(), "reading")
    sums = study.anova["sum_sq"]
    assert sums.loc[["people", "marks", "people with marks", "repeats", "total"]].round(4).tolist() == [
        3.1673,
        88.3619,
        0.3590,
        2.7589,
        94.6471,
    ]
    assert study.anova["dof"].tolist() == [2, 9, 18, 60, 89]
    assert study.anova["mean_sq"].round(5).tolist()[:4] == [1.58363, 9.81799, 0.01994, 0.04598]
    assert study.anova.loc["people with marks", "f"] == pytest.approx(0.434, abs=5e-4)
    assert study.anova.loc["people with marks", "p"] == pytest.approx(0.974, abs=0.005)  # by 20,000 draws
    assert not study.interaction_kept
    variance, sd, share = (study.components[name] for name in ("variance", "sd", "share"))
    assert variance[["repeatability", "reproducibility", "gauge", "marks"]].round(5).tolist() == [
        0.03997,
        0.05146,
        0.09143,
        1.08645,
    ]
    printed = [0.199933, 0.226838, 0.302373, 1.042327]  # from means rounded on the way
    np.testing.assert_allclose(sd[["repeatability", "reproducibility", "gauge", "marks"]], printed, atol=1.5e-6)
    assert np.sqrt(share[["gauge", "repeatability", "reproducibility", "marks"]]).round(3).tolist() == [
        0.279,
        0.184,
        0.209,
        0.960,
    ]


def test_with_interaction_the_tests_are_against_it():
    study = lt.gauge_study(worked_example(), "reading", keep_interaction_below=1.0)
    assert study.anova["f"].round(3).tolist()[:2] == [
        79.406,
        492.291,
    ]  # the same example with the interaction kept, as printed by a statistics package


def test_sums_of_squares_are_those_of_statsmodels():
    data = simulated(np.random.default_rng(8))
    ours = lt.gauge_study(data).anova
    theirs = anova_lm(smf.ols("tilt_deg ~ C(person) * C(mark)", data).fit())
    np.testing.assert_allclose(ours["sum_sq"].iloc[:4], theirs["sum_sq"], rtol=1e-10)
    np.testing.assert_allclose(ours["p"].iloc[2], theirs["PR(>F)"].iloc[2], atol=0.01)


def test_intervals_hold_the_truth(monkeypatch):
    """500 studies of known spread: generalized intervals are known to hold at least about 95 % (Hamada and Weerahandi
    2000).
    """
    monkeypatch.setattr(gauge, "DRAWS", 2000)
    truth = {"repeatability": 0.4, "people": 0.3, "gauge": np.sqrt(0.4**2 + 0.3**2 + 0.2**2), "marks": 2.0}
    held = pd.Series(0, index=list(truth))
    for seed in range(500):
        parts = lt.gauge_study(simulated(np.random.default_rng(seed)), keep_interaction_below=1.0).components
        held += [int(parts.loc[name, "low_sd"] <= sd <= parts.loc[name, "high_sd"]) for name, sd in truth.items()]
    assert ((held >= 0.925 * 500) & (held <= 0.99 * 500)).all(), held / 500


def test_marks_that_somebody_could_not_read_are_left_out_by_name():
    data = simulated(np.random.default_rng(2))
    data.loc[data.index[data["mark"] == 3][0], "tilt_deg"] = np.nan
    study = lt.gauge_study(data.assign(u_tilt_deg=0.5))
    assert study.left_out == (3,) and study.stated_u == pytest.approx(0.5)
    assert any("Left out" in note and "3" in note for note in study.sentences())
    same = lt.gauge_study(data[data["mark"] != 3])
    pd.testing.assert_frame_equal(study.components, same.components)


def test_limits_are_those_of_iso_5725():
    study = lt.gauge_study(simulated(np.random.default_rng(3)))
    assert study.repeatability_limit == pytest.approx(
        2.77 * study.components.loc["repeatability", "sd"], rel=2e-3
    )  # ISO 5725-6: 2.8
    (drawn,) = charts.gauge_figure(study).data
    assert (
        list(drawn.y) == study.components.index[:5].tolist()
        and list(drawn.x) == study.components["sd"].iloc[:5].round(4).tolist()
    )
    assert study.unit == "°" and "two people" in study.sentences()[1]


@pytest.mark.parametrize(
    "spoil, words",
    [
        (lambda d: d.drop(columns="person"), "no column 'person'"),
        (lambda d: d[d["person"] == 0], "at least 2 people"),
        (lambda d: d[d["repeat"] == 0], "at least twice"),
        (lambda d: d.assign(tilt_deg=d["mark"] * 1.0), "the same number"),
        (lambda d: d.assign(tilt_deg=np.nan), "0 marks"),
    ],
)
def test_studies_that_tell_nothing_are_refused(spoil, words):
    with pytest.raises(lt.InputError, match=words):
        lt.gauge_study(spoil(simulated(np.random.default_rng(4))))


def test_retakes_of_a_photo_measure_the_same_mark():
    """The same faces seen by turned cameras: each retake within 0.25° of the original, which is less than its stated
    uncertainty.
    """
    photos = Path(__file__).parent.parent / "demo_photos" / "photos" / "perrin"
    bag = lt.read_bag(photos.parent.parent / "bag.csv")
    jobs = pd.DataFrame({"mark": ["6-4", "8-4"], "club": ["6", "8"], "photo": [photos / "6-4.jpg", photos / "8-4.jpg"]})
    retakes = lt.session.demo_retakes(jobs, people=("a", "b"), repeats=2)
    again = lt.session.demo_retakes(jobs, people=("a", "b"), repeats=2)
    assert len(retakes) == 8 and (retakes["photo"] == again["photo"]).all() and retakes["photo"].nunique() == 8
    assert all(
        open_photo(photo).f35_mm == open_photo(photos / f"{mark}.jpg").f35_mm
        for mark, photo in zip(retakes["mark"], retakes["photo"])
    )
    read = lt.measure_photos(retakes, bag=bag)
    own = lt.measure_photos(jobs, bag=bag).set_index("mark")["tilt_deg"]
    assert (read["tilt_deg"] - read["mark"].map(own)).abs().max() < 0.25
    study = lt.gauge_study(read)
    assert study.components.loc["gauge", "sd"] < 0.15 and study.stated_u > study.components.loc["gauge", "sd"]
