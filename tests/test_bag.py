"""Pooling: known answers, a brute-force integration of the same model, coverage and ranks over many drawn golfers, bad
input.
"""

import math

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from bench import brute_force, golfers
from linetilt.handouts import charts


def readings(rows, u=0.4):
    """Rows of (club, lie error) as a table of readings."""
    return pd.DataFrame([{"club": club, "lie_error_deg": value, "u_lie_error_deg": u} for club, value in rows])


def irons(**changes):
    """Eight irons; `changes` maps a label to what differs from the plain club."""
    return lt.Bag(
        [
            lt.Club(
                **(
                    {"label": label, "loft_deg": loft, "length_in": length, "lie_deg": lie, "head": "forged"}
                    | changes.get(label, {})
                )
            )
            for label, loft, length, lie in zip(golfers.LABELS, golfers.LOFT_DEG, golfers.LENGTH_IN, golfers.LIE_DEG)
        ]
    )


def level_shots(balls=3, at=0.0, seed=1, scatter=1.0):
    rng = np.random.default_rng(seed)
    return readings([(label, at + scatter * rng.standard_normal()) for _ in range(balls) for label in golfers.LABELS])


# --- the model, against an independent integration --------------------------------------------------------------------


@pytest.mark.parametrize(("balls", "seed"), [(2, 11), (4, 12)])
def test_agrees_with_brute_force_integration(balls, seed):
    drawn, shots = golfers.play(golfers.Kind(), 1, balls, seed)
    fit = lt.fit_bag(shots, drawn[0].bag())
    grouped = {
        golfers.LABELS.index(club): (rows["lie_error_deg"].to_numpy(), rows["u_lie_error_deg"].to_numpy())
        for club, rows in shots.groupby("club")
    }
    mean, low, high = brute_force.posterior(grouped, golfers.LENGTH_IN, sizes=(11, 11, 51, 35))
    table = fit.table
    assert np.abs(table["lie_error_deg"] - mean).max() < 0.05
    assert (table["high_deg"] - table["low_deg"]).to_numpy() == pytest.approx(high - low, rel=0.04)


def test_ranks_of_the_truth_are_even_when_golfers_follow_the_priors():
    # Simulation-based calibration (Talts et al., arXiv:1804.06788): golfers drawn from the priors themselves.
    rng, p, count = np.random.default_rng(20), lt.lie.Priors(), 250
    x = golfers.LENGTH_IN - 37.0
    truths, rows = [], []
    for number in range(count):
        sigma = p.shot_scatter_deg * math.exp(p.shot_scatter_log_sd * rng.standard_normal())
        tau = p.club_scatter_deg * math.exp(p.club_scatter_log_sd * rng.standard_normal())
        truth = rng.normal(0, p.offset_sd_deg) + rng.normal(0, p.slope_sd_deg_per_in) * x + tau * rng.standard_normal(8)
        truths.append(truth)
        for position in rng.integers(0, 8, 14):  # some clubs are hit often, some never
            y = truth[position] + math.hypot(sigma, 0.4) * rng.standard_t(p.shot_dof)
            rows.append((number, golfers.LABELS[position], float(np.clip(y, -44, 44)), 0.4))
    table = pd.DataFrame(rows, columns=["golfer", "club", "lie_error_deg", "u_lie_error_deg"])
    fits = lt.lie.fit_bags(table, irons())
    ranks = np.array(
        [
            [
                np.mean(fits[number].samples_deg(label, 401) < truth)
                for label, truth in zip(golfers.LABELS, truths[number])
            ]
            for number in range(count)
        ]
    )
    for position in (
        0,
        3,
        7,
    ):  # clubs of one golfer hang together, so each club is judged by itself: 250 independent ranks
        counts = np.histogram(ranks[:, position], bins=10, range=(0, 1))[0]
        chi2 = ((counts - count / 10) ** 2 / (count / 10)).sum()
        assert chi2 < 27.9  # the 0.1 % point of chi² with 9 degrees of freedom
    inside = np.mean((ranks > 0.025) & (ranks < 0.975))
    assert 0.93 < inside < 0.97


def test_intervals_hold_and_pooling_beats_the_simple_ways():
    drawn, shots = golfers.play(golfers.Kind(), 120, 3, 31)
    fits = lt.lie.fit_bags(shots, {number: golfer.bag() for number, golfer in enumerate(drawn)})
    truth = np.array([golfer.truth for golfer in drawn])
    tables = [fits[number].table for number in range(len(drawn))]
    estimate, low, high = (
        np.array([table[name] for table in tables]) for name in ("lie_error_deg", "low_deg", "high_deg")
    )
    values = np.array(
        [
            [one[one["club"] == label]["lie_error_deg"] for label in golfers.LABELS]
            for _, one in shots.groupby("golfer", sort=False)
        ]
    )

    def error(guess):
        return math.sqrt(np.mean((guess - truth) ** 2))

    assert 0.92 < np.mean((low < truth) & (truth < high)) < 0.985  # 960 clubs: ±0.02 about 0.95
    assert error(estimate) < 0.7 * error(golfers.huber_mean(values))
    assert error(estimate) < 0.6 * error(values.mean(-1))
    assert error(estimate) < 0.5 * error(values[:, [golfers.SEVEN]].mean(-1))


def test_wild_bags_of_one_ball_a_club_never_run_away():
    # Factors that swing instead of settling once gave an estimate of 26° from shots within ±6°.
    for kind, seed in (("wild", 4001), ("no trend, clubs differ", 4001)):
        drawn, shots = golfers.play(golfers.KINDS[kind], 150, 1, seed)
        fits = lt.lie.fit_bags(shots, {number: golfer.bag() for number, golfer in enumerate(drawn)})
        for number, fit in fits.items():
            seen = shots.loc[shots["golfer"] == number, "lie_error_deg"]
            assert fit.table["lie_error_deg"].between(seen.min() - 0.5, seen.max() + 0.5).all()


# --- what is used of what is known ------------------------------------------------------------------------------------


def test_a_club_never_hit_is_told_by_its_neighbours_with_a_wider_interval():
    table = lt.fit_bag(
        readings([(c, 2.0) for c in ("4", "5", "6", "7", "9", "PW") for _ in range(3)]), irons()
    ).table.set_index("club")
    assert table.loc["8", "lie_error_deg"] == pytest.approx(2.0, abs=0.3)
    assert table.loc["8", "balls"] == 0
    assert table.loc["8", "u_lie_error_deg"] > 1.2 * table.loc["7", "u_lie_error_deg"]


def test_trend_is_found():
    slope = 0.8
    rows = [
        (label, 1.0 + slope * (length - 37))
        for label, length in zip(golfers.LABELS, golfers.LENGTH_IN)
        for _ in range(4)
    ]
    trend = lt.fit_bag(readings(rows), irons()).trend
    assert trend["slope_deg_per_in"] == pytest.approx(slope, abs=0.15)
    assert trend["offset_deg"] == pytest.approx(1.0, abs=0.15)


def test_gauge_reading_says_what_is_the_club():
    # The 6 is bent 2° upright and reads so; with the gauge that is no news, and its neighbours do not follow it.
    shots = readings([(label, 2.0 if label == "6" else 0.0) for label in golfers.LABELS for _ in range(2)])
    plain = lt.fit_bag(shots, irons())
    gauged = lt.fit_bag(
        shots,
        irons(
            **{
                label: {"gauge_lie_deg": lie + 2.0 * (label == "6")}
                for label, lie in zip(golfers.LABELS, golfers.LIE_DEG)
            }
        ),
    )
    before, after = plain.table.set_index("club"), gauged.table.set_index("club")
    assert after.loc["6", "lie_error_deg"] > before.loc["6", "lie_error_deg"] + 0.3
    assert after.loc["6", "own_deg"] == pytest.approx(0.0, abs=0.15)
    assert (after["u_lie_error_deg"] < before["u_lie_error_deg"]).all()
    assert after.loc["6", "gauge_deg"] == pytest.approx(2.0)


def test_club_from_elsewhere_leans_less_on_the_set():
    # 1.5°, not more: a club 3° off is taken for one that stands apart, whether anybody said so or not.
    shots = readings([(label, 1.5 if label == "GW" else 0.0) for label in golfers.LABELS for _ in range(2)])
    same = lt.fit_bag(shots, irons()).table.set_index("club").loc["GW", "lie_error_deg"]
    apart = lt.fit_bag(shots, irons(GW={"from_set": False})).table.set_index("club").loc["GW", "lie_error_deg"]
    assert apart > same + 0.2


def test_unknown_heading_is_one_more_unknown_and_widens_wedges_most():
    shots = level_shots(balls=6, scatter=0.6)
    known = lt.fit_bag(shots, irons()).table
    fit = lt.fit_bag(shots.assign(heading_known=False), irons())
    wider = np.sqrt(fit.table["u_lie_error_deg"] ** 2 - known["u_lie_error_deg"] ** 2)
    assert wider.iloc[-1] > wider.iloc[0] > 0.2
    assert any("face heading" in note and "48 of 48" in note for note in fit.warnings)


def test_known_headings_of_some_shots_give_the_heading_of_the_others():
    # Face 4° closed all session: unknown readings lie sin λ cos λ · 4° too low; the shots with a known heading give it
    # away.
    rows = []
    for label, loft in zip(golfers.LABELS, np.radians(golfers.LOFT_DEG)):
        rows += [(label, 1.0, True)] * 3 + [(label, 1.0 - math.sin(loft) * math.cos(loft) * 4.0, False)] * 3
    shots = pd.DataFrame(rows, columns=["club", "lie_error_deg", "heading_known"]).assign(u_lie_error_deg=0.3)
    fit = lt.fit_bag(shots, irons())
    assert fit.trend["heading_deg"] == pytest.approx(4.0, abs=0.6)
    assert fit.table["lie_error_deg"].to_numpy() == pytest.approx(1.0, abs=0.15)


def test_turning_the_whole_bag_turns_the_answer():
    shots = level_shots(balls=3, at=1.5)
    one = lt.fit_bag(shots, irons())
    other = lt.fit_bag(shots.assign(lie_error_deg=-shots["lie_error_deg"]), irons())
    assert other.table["lie_error_deg"].to_numpy() == pytest.approx(-one.table["lie_error_deg"].to_numpy(), abs=1e-9)
    assert other.table["high_deg"].to_numpy() == pytest.approx(-one.table["low_deg"].to_numpy(), abs=1e-6)


def test_order_of_rows_does_not_matter_and_the_table_given_is_left_alone():
    shots = level_shots(balls=3).assign(shot=range(1, 25))
    kept = shots.copy()
    one = lt.fit_bag(shots, irons()).table
    other = lt.fit_bag(shots.sample(frac=1, random_state=3), irons()).table
    pd.testing.assert_frame_equal(one, other, check_exact=False, rtol=1e-9, atol=1e-9)
    pd.testing.assert_frame_equal(shots, kept)


def test_many_golfers_in_one_call_are_each_fitted_alone():
    drawn, shots = golfers.play(golfers.Kind(), 6, 2, 44)
    shots = shots.drop(index=range(3, 9))  # uneven bags
    together = lt.lie.fit_bags(shots, {number: golfer.bag() for number, golfer in enumerate(drawn)})
    for number, golfer in enumerate(drawn):
        alone = lt.fit_bag(shots[shots["golfer"] == number].drop(columns="golfer"), golfer.bag())
        assert together[number].table["lie_error_deg"].to_numpy() == pytest.approx(
            alone.table["lie_error_deg"].to_numpy(), abs=1e-9
        )


# --- bad shots, shots set aside, facts of the trade -------------------------------------------------------------------


def test_one_bad_shot_moves_little_and_is_named():
    shots = level_shots(balls=4, scatter=0.6)
    spoilt = shots.copy()
    spoilt.loc[5, "lie_error_deg"] += 9.0
    clean, fit = lt.fit_bag(shots, irons()), lt.fit_bag(spoilt, irons())
    assert np.abs(fit.table["lie_error_deg"] - clean.table["lie_error_deg"]).max() < 0.5
    assert fit.shots.index[fit.shots["bad"]].tolist() == [5]
    assert "more toe up" in fit.shots.loc[5, "note"]
    assert fit.shots.loc[5, "weight"] < 0.15
    assert fit.shots.drop(index=5)["note"].eq("").all()


def test_heavy_strike_counts_for_nothing():
    # Common practice, no source: a heavy strike moves the ball before the face arrives.
    shots = level_shots(balls=3).assign(counted=True)
    heavy = pd.DataFrame(
        [{"club": "7", "lie_error_deg": 7.0, "u_lie_error_deg": 0.3, "counted": False, "why": "heavy"}]
    )
    without, fit = lt.fit_bag(shots, irons()), lt.fit_bag(pd.concat([shots, heavy], ignore_index=True), irons())
    pd.testing.assert_frame_equal(fit.table, without.table)
    last = fit.shots.iloc[-1]
    assert last["weight"] == 0 and not last["bad"] and last["why"] == "heavy"


def test_second_hit_on_the_same_spot_is_one_shot_set_aside():
    # Common practice, no source: it widens the print; there is one print, hence one row, and it may have no reading at
    # all.
    shots = level_shots(balls=2)
    wide = pd.DataFrame([{"club": "9", "lie_error_deg": math.nan, "u_lie_error_deg": math.nan, "counted": False}])
    fit = lt.fit_bag(pd.concat([shots.assign(counted=True), wide], ignore_index=True), irons())
    assert fit.table["balls"].tolist() == [2] * 8
    assert len(fit.shots) == 17 and (fit.shots["weight"] == 0).sum() == 1


def test_strike_mean_and_spread_are_of_counted_shots():
    shots = level_shots(balls=2).assign(strike_toe_mm=3.0, strike_up_mm=[10.0] * 8 + [14.0] * 8, counted=True)
    shots.loc[3, ["strike_toe_mm", "counted"]] = [40.0, False]
    table = lt.fit_bag(shots, irons()).table.set_index("club")
    assert table["strike_toe_mm"].tolist() == [3.0] * 8
    assert table.loc["4", "strike_up_mm"] == 12.0
    assert table.loc["4", "strike_up_sd_mm"] == pytest.approx(math.sqrt(8))
    assert math.isnan(table.loc["7", "strike_up_sd_mm"])  # one ball left: no spread


# --- probabilities, next club, when to stop ---------------------------------------------------------------------------


def test_probabilities_follow_the_interval():
    fit = lt.fit_bag(level_shots(balls=5, at=2.0), irons())
    table = fit.table
    low, high = fit.quantile_deg(0.05), fit.quantile_deg(0.95)
    middle = (low + high) / 2
    inside = [fit.probability_within((high - low)[c] / 2, bend_deg=-middle[c])[c] for c in low.index]
    assert inside == pytest.approx([0.9] * 8, abs=0.01)
    assert (table["within_half"] < table["within_one"]).all() and (table["within_one"] < 0.3).all()
    assert (table["within_one_bent"] > 0.7).all()
    assert (table["bend_deg"] % 0.25 == 0).all()
    vague = fit.probability_within(1.0, table["bend_deg"], 0.5)
    assert (vague.to_numpy() < table["within_one_bent"].to_numpy()).all()


def test_next_ball_goes_where_least_is_known():
    rows = [(label, 0.1 * i) for i in range(4) for label in golfers.LABELS if label != "PW"]
    rows += [(label, 0.5) for label in golfers.LABELS[:4]]
    fit = lt.fit_bag(
        readings(rows),
        irons(**{c: {"bend_limit_deg": 10} for c in golfers.LABELS}),
        stop=lt.lie.Stop(tolerance_deg=0.4),
    )
    advice = fit.next_club()
    assert advice.club == "PW" and advice.lowers_by > 0
    assert advice.sentence.startswith("Hit the PW next")


def test_what_the_next_ball_is_said_to_bring_it_brings():
    drawn, shots = golfers.play(golfers.Kind(), 40, 2, 51)
    rng = np.random.default_rng(52)
    said, came = [], []
    for number, golfer in enumerate(drawn):
        own = shots[shots["golfer"] == number]
        fit = lt.fit_bag(own, golfer.bag())
        if fit.finished:
            continue
        advice = fit.next_club()
        more = pd.concat([own, golfer.hit([golfers.LABELS.index(advice.club)], rng, number)], ignore_index=True)
        open_clubs = ~fit.settled.to_numpy()
        after = lt.fit_bag(more, golfer.bag())
        said.append(advice.lowers_by)
        came.append(((fit.table["u_lie_error_deg"] ** 2 - after.table["u_lie_error_deg"] ** 2)[open_clubs]).sum())
    assert np.mean(came) == pytest.approx(
        np.mean(said), rel=0.5
    )  # 40 golfers, one ball each: the mean of `came` scatters by a fifth


def test_finishes_with_enough_balls_and_says_so():
    few, many = (lt.fit_bag(level_shots(balls=n, scatter=0.8), irons()) for n in (1, 8))
    assert not few.finished and many.finished
    assert many.next_club().club is None and many.balls_to_go() == (0, 0)
    low, high = few.balls_to_go()
    assert 1 <= low < high <= 99


def test_stop_rule_is_the_fitters():
    shots = level_shots(balls=4, scatter=0.8)
    strict = lt.fit_bag(shots, irons(), stop=lt.lie.Stop(tolerance_deg=0.5, probability=0.95))
    loose = lt.fit_bag(shots, irons(), stop=lt.lie.Stop(tolerance_deg=2.0))
    assert loose.finished and not strict.finished
    assert strict.balls_to_go()[0] > 1


def test_more_balls_cannot_change_what_the_head_forbids():
    shots = level_shots(balls=1, at=-6.0)
    assert lt.fit_bag(shots, irons(**{c: {"bend_limit_deg": 1.0} for c in golfers.LABELS})).finished
    assert not lt.fit_bag(shots, irons(**{c: {"bend_limit_deg": 10.0} for c in golfers.LABELS})).finished


# --- checks on the model itself ---------------------------------------------------------------------------------------


def test_warns_of_a_golfer_who_changes():
    rng = np.random.default_rng(6)
    clubs = [c for _ in range(6) for c in golfers.LABELS]
    shots = readings([(c, 3.0 * i / 48 + 0.7 * rng.standard_normal()) for i, c in enumerate(clubs)])
    assert any(
        note.startswith("Late shots sit") and "more toe up" in note for note in lt.fit_bag(shots, irons()).warnings
    )


def test_warns_when_the_set_bows():
    x = golfers.LENGTH_IN - 37.0
    rows = [(label, 3.0 - 1.8 * at**2) for label, at in zip(golfers.LABELS, x) for _ in range(6)]
    assert any("does not follow a straight trend" in note for note in lt.fit_bag(readings(rows), irons()).warnings)


def test_names_the_club_that_stands_apart_and_whose_fault_it_is():
    shots = readings([(label, 3.0 if label == "9" else 0.0) for label in golfers.LABELS for _ in range(5)])
    (note,) = [n for n in lt.fit_bag(shots, irons()).warnings if "stands apart" in n]
    assert note.startswith("The 9") and "put it on the gauge" in note
    true_to_gauge = irons(**{label: {"gauge_lie_deg": lie} for label, lie in zip(golfers.LABELS, golfers.LIE_DEG)})
    (note,) = [n for n in lt.fit_bag(shots, true_to_gauge).warnings if "stands apart" in n]
    assert "how the golfer swings it" in note


def test_alarms_are_rare_for_golfers_who_fit_the_model():
    drawn, shots = golfers.play(golfers.Kind(), 100, 4, 61)
    fits = lt.lie.fit_bags(shots, {number: golfer.bag() for number, golfer in enumerate(drawn)})
    alarms = [note for fit in fits.values() for note in fit.warnings]
    for words in ("Late shots", "straight trend", "stands apart"):
        assert (
            sum(words in note for note in alarms) <= 7
        )  # at 2 % each, more than 7 of 100 comes once in a thousand runs


# --- the figures ------------------------------------------------------------------------------------------------------


def test_bag_chart_shows_estimate_interval_shots_trend_gauge_and_plan():
    bag = irons(**{"6": {"gauge_lie_deg": 63.0}, "PW": {"bend_limit_deg": 4}})
    shots = level_shots(balls=4, at=-2.0, scatter=0.5)
    shots.loc[5, "lie_error_deg"] = 8.0
    fit = lt.fit_bag(shots, bag)
    plan = lt.plan_bends(fit, bag)
    traces = {trace.name: trace for trace in charts.bag_chart(fit, plan).data}
    estimate = traces["lie error, 95 % interval"]
    assert np.array(estimate.y) == pytest.approx(fit.table["lie_error_deg"].to_numpy(), abs=1e-3)
    assert np.array(estimate.y) + estimate.error_y.array == pytest.approx(fit.table["high_deg"].to_numpy(), abs=2e-3)
    assert list(traces["shot that disagrees"].y) == [8.0] and len(traces["shot"].y) == 31
    assert len(traces["after the bend"].y) == (plan["bend_deg"] != 0).sum() > 0
    marks = [(trace.marker.symbol, trace.line.dash) for trace in traces.values()]
    assert len(set(marks)) == len(marks)  # told apart without colour
    assert "after the bend" not in [trace.name for trace in charts.bag_chart(fit).data if trace.visible]


@pytest.mark.parametrize(("handed", "toe_left"), [("right", True), ("left", False)])
def test_strike_map_looks_at_the_face_with_the_sole_down(handed, toe_left):
    shots = pd.DataFrame(
        {
            "club": ["7", "7", "7", "9"],
            "strike_toe_mm": [2.0, 4.0, 9.0, 0.0],
            "strike_up_mm": [10.0, 12.0, 14.0, 9.0],
            "counted": [True, True, True, True],
        }
    )
    fig = charts.strike_map(shots, lt.Club(label="7", loft_deg=34, handed=handed, score_line_length_mm=52))
    traces = {trace.name: trace for trace in fig.data}
    assert list(traces["strike"].x) == [2.0, 4.0, 9.0]
    assert (traces["middle of the strikes"].x[0], traces["middle of the strikes"].y[0]) == (5.0, 12.0)
    assert (fig.layout.xaxis.range[0] > fig.layout.xaxis.range[1]) == toe_left
    assert fig.layout.xaxis.title.text.startswith("toe") == toe_left
    assert len(charts.strike_map(shots).data[0].x) == 4
    assert "0 balls" in charts.strike_map(shots, "4").layout.title.text  # nothing to show is shown as nothing


# --- little and bad input ---------------------------------------------------------------------------------------------


def test_one_ball_in_all_is_answered_with_wide_intervals():
    fit = lt.fit_bag(readings([("7", 4.0)]), irons())
    table = fit.table.set_index("club")
    assert 1.0 < table.loc["7", "lie_error_deg"] < 4.0  # between what is usual and what was seen
    assert (table["high_deg"] - table["low_deg"] > 3.0).all()
    assert not fit.finished and any("Only 1 ball in all" in note for note in fit.warnings)


def test_one_club_in_all_is_answered():
    bag = lt.Bag([lt.Club(label="7", loft_deg=34)])
    fit = lt.fit_bag(readings([("7", v) for v in (1.2, 0.8, 1.1, 0.9)]), bag)
    assert fit.table["lie_error_deg"].item() == pytest.approx(1.0, abs=0.15)
    assert fit.next_club().club in ("7", None)


def test_hundreds_of_balls_leave_a_narrow_interval_about_the_right_value():
    rng = np.random.default_rng(9)
    fit = lt.fit_bag(readings([("7", 1.3 + rng.standard_normal()) for _ in range(400)]), irons())
    row = fit.table.set_index("club").loc["7"]
    assert row["lie_error_deg"] == pytest.approx(1.3, abs=0.2)
    assert 0.03 < row["u_lie_error_deg"] < 0.09  # 1.08° over √400, Student shots counted


def test_wild_values_are_survived():
    shots = readings([("4", 45.0), ("5", -45.0), ("7", 0.0), ("9", 44.0), ("9", -44.0)], u=0.01)
    table = lt.fit_bag(shots, irons()).table
    assert np.isfinite(table[["lie_error_deg", "low_deg", "high_deg"]].to_numpy()).all()
    assert (table["low_deg"] < table["lie_error_deg"]).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"club": "2"}, "club '2', which is not in the bag"),
        ({"lie_error_deg": math.nan}, "lie_error_deg of reading 2 (club 7) is nan"),
        ({"lie_error_deg": 60.0}, "lie_error_deg of reading 2 (club 7) is 60.0"),
        ({"u_lie_error_deg": 0.0}, "u_lie_error_deg of reading 2 (club 7) is 0.0"),
        ({"u_lie_error_deg": -0.2}, "expected degrees above 0"),
        ({"u_lie_error_deg": math.nan}, "u_lie_error_deg of reading 2 (club 7) is nan"),
        ({"counted": "maybe"}, "counted of reading 2 is 'maybe'"),
        ({"heading_known": None}, "heading_known of reading 2 is None"),
    ],
)
def test_bad_readings_are_refused_by_name(change, words):
    rows = [
        {"club": "7", "lie_error_deg": 1.0, "u_lie_error_deg": 0.4, "counted": True, "heading_known": True}
        for _ in range(2)
    ]
    rows[1] |= change
    with pytest.raises(lt.InputError) as caught:
        lt.fit_bag(pd.DataFrame(rows), irons())
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ([1.0, 2.0], "expected a DataFrame"),
        (pd.DataFrame({"club": ["7"], "lie_error_deg": [1.0]}), "no column u_lie_error_deg"),
        (readings([("7", 1.0)]).iloc[:0], "the readings are empty"),
        (readings([("7", 1.0)]).assign(counted=False), "none of the 1 readings counts"),
    ],
)
def test_unusable_tables_are_refused(table, words):
    with pytest.raises(lt.InputError, match=words):
        lt.fit_bag(table, irons())


def test_a_golfer_without_a_bag_is_named():
    with pytest.raises(lt.InputError, match="no bag for golfer 'B'"):
        lt.lie.fit_bags(readings([("7", 1.0)]).assign(golfer="B"), {"A": irons()})


@pytest.mark.parametrize(
    "change", [{"shot_scatter_deg": 0}, {"offset_sd_deg": -1}, {"slope_sd_deg_per_in": "much"}, {"shot_dof": 0}]
)
def test_impossible_priors_are_refused(change):
    with pytest.raises(lt.InputError, match=f"priors: {next(iter(change))}"):
        lt.lie.Priors(**change)
