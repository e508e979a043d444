"""What all balls of a session share: no number of balls hides it, a check of it helps, and the fit says which; clubs
apart, runs, two kinds of swing.
"""

import math

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from bench import gibbs, golfers, honest, swings
from linetilt.lie import SessionUnknowns

PLAIN = swings.WORLDS["plain"]


def one(name="all together", balls=3, seed=1, **told):
    """A golfer of a world, the readings, and the fit with what is `told` of the session instead."""
    (golfer,), shots = swings.play(swings.WORLDS[name], 1, balls, seed)
    shots = shots.drop(columns="golfer")
    session = SessionUnknowns(**told) if told else golfer.told
    return golfer, shots, lt.fit_bag(shots, golfer.bag(), session=session)


def half_width(fit):
    return float((fit.table["high_deg"] - fit.table["low_deg"]).mean() / 2)


# --- the model
# ------------------------------------------------------------------------------------------------------------------


def test_agrees_with_a_gibbs_sampler_of_the_same_model():
    # 20 bags by `python tests/bench/gibbs.py` agree as well; here a few, with fewer draws.
    shifts, widths = gibbs.compare(3, 9002, rounds=500, burn=100)
    assert len(shifts) >= 2
    assert np.abs(shifts).max() < 0.05
    assert np.abs(widths).max() < 0.05


def test_no_number_of_balls_hides_what_they_share():
    _, _, few = one(balls=2)
    _, shots, many = one(balls=40)
    shared = (shots["s_path"].abs() * 3.5).min()
    assert few.table["u_lie_error_deg"].min() > many.table["u_lie_error_deg"].min() > 0.9 * shared
    alone = lt.fit_bag(shots.drop(columns=[name for name in shots if name.startswith("s_")]), many.bag)
    assert alone.table["u_lie_error_deg"].max() < 0.5 * many.table["u_lie_error_deg"].min()


def test_a_path_that_was_measured_wins_back_what_an_unknown_one_costs():
    _, shots, unknown = one("path habit 3", balls=5)
    lines = {"lean_deg": (0, 0.3), "turn_deg": (0, 0.3)}
    widths = [
        half_width(lt.fit_bag(shots, unknown.bag, session=SessionUnknowns(path_deg=(0, sd), **lines)))
        for sd in (3.5, 1, 0)
    ]
    assert (widths[0] - widths[1]) / (widths[0] - widths[2]) > 0.8


def test_intervals_hold_where_everything_is_unknown():
    row = honest.measure(swings.WORLDS["all together"], 60, 3, 71)
    assert row["clubs"] > 0.88 and row["bag"] > 0.85  # 60 sessions: one standard deviation is 3 %


def test_without_the_columns_an_unknown_heading_is_what_it_was():
    shots = pd.DataFrame(
        [(label, 1.0 + 0.3 * turn, 1.2) for label in golfers.LABELS for turn in (-1, 0, 1)],
        columns=["club", "lie_error_deg", "u_lie_error_deg"],
    ).assign(heading_known=False)
    bag = swings.draw(PLAIN, np.random.default_rng(0)).bag()
    loft = np.radians([bag[label].loft_deg for label in shots["club"]])
    hangs = np.sin(loft) * np.cos(loft)
    given = shots.assign(s_heading=hangs, u_own_deg=np.sqrt(1.2**2 - (2 * hangs) ** 2))
    pd.testing.assert_frame_equal(lt.fit_bag(shots, bag).table, lt.fit_bag(given, bag).table)


def test_balls_with_a_photo_of_their_own_tell_how_the_others_were_set():
    # The line leans 2° all session; of half the balls it was measured, so they do not hang on the session's lean.
    rows = []
    for label, loft in zip(golfers.LABELS, np.radians(golfers.LOFT_DEG)):
        s = -(math.cos(loft) ** 2)
        rows += [(label, 1.0, 0.0)] * 3 + [(label, 1.0 - s * 2.0, s)] * 3
    shots = pd.DataFrame(rows, columns=["club", "lie_error_deg", "s_lean"]).assign(u_lie_error_deg=0.3, u_own_deg=0.3)
    bag = swings.draw(PLAIN, np.random.default_rng(0)).bag()
    fit = lt.fit_bag(shots, bag, session=SessionUnknowns(lean_deg=(0, 1.5)))
    assert fit.table["lie_error_deg"].to_numpy() == pytest.approx(1.0, abs=0.15)
    assert fit.unknowns.loc["lean_deg", "value_deg"] == pytest.approx(2.0, abs=0.3)
    assert fit.unknowns.loc["lean_deg", "u_deg"] < 0.4
    assert fit.unknowns["counts"].to_dict() == {name: name == "lean_deg" for name in fit.unknowns.index}


def test_golfers_with_sessions_of_their_own_are_each_fitted_alone():
    drawn, shots = swings.play(swings.WORLDS["path habit 3"], 4, 2, 8)
    sessions = {number: golfer.told for number, golfer in enumerate(drawn)} | {2: SessionUnknowns(path_deg=(-3, 1))}
    bags = {number: golfer.bag() for number, golfer in enumerate(drawn)}
    together = lt.lie.fit_bags(shots, bags, session=sessions)
    for number in bags:
        alone = lt.fit_bag(
            shots[shots["golfer"] == number].drop(columns="golfer"), bags[number], session=sessions[number]
        )
        assert together[number].table["u_lie_error_deg"].to_numpy() == pytest.approx(
            alone.table["u_lie_error_deg"].to_numpy(), abs=1e-9
        )


def test_joint_and_draws_say_the_same_as_the_table():
    _, _, fit = one(balls=3)
    mean, cov = fit.joint()
    table = fit.table.set_index("club")
    assert np.sqrt(np.diag(cov)) == pytest.approx(table["u_lie_error_deg"].to_numpy())
    draws = fit.draws(4000, seed=3)
    assert draws.shape == (4000, 8) and (draws == fit.draws(4000, seed=3)).all()
    assert draws.mean(0) == pytest.approx(mean.to_numpy(), abs=1e-3)
    assert np.quantile(draws, 0.025, axis=0) == pytest.approx(table["low_deg"].to_numpy(), abs=0.03)
    shared = np.corrcoef(draws.T)[0, 7]
    assert shared == pytest.approx(cov.iloc[0, 7] / math.sqrt(cov.iloc[0, 0] * cov.iloc[7, 7]), abs=0.06)
    assert shared > 0.25  # the session moves all clubs together


# --- whose it is, and what next
# ---------------------------------------------------------------------------------------------------


def test_budget_adds_up_and_names_the_session():
    _, shots, fit = one(balls=6)
    budget = fit.budget("7").set_index("code")
    assert budget["share"].sum() == pytest.approx(1.0)
    assert math.sqrt((budget["u_deg"] ** 2).sum()) == pytest.approx(
        fit.table.set_index("club").loc["7", "u_lie_error_deg"]
    )
    assert set(budget["whose"]) <= {"this ball's", "this club's", "this session's", "this golfer's"}
    assert budget.loc["path", "whose"] == "this session's" and budget.loc["path", "shrinks"] == "a path check"
    s = shots.loc[shots["club"] == "7", "s_path"].mean()
    assert budget.loc["path", "u_deg"] == pytest.approx(abs(s) * 3.5, rel=0.25)
    told = lt.fit_bag(shots, fit.bag, session=SessionUnknowns(path_deg=(0, 0.5))).budget("7").set_index("code")
    assert told.loc["path", "share"] < 0.1 * budget.loc["path", "share"]
    with pytest.raises(lt.InputError):
        fit.budget("2")


def test_balls_that_cannot_help_are_not_asked_for():
    _, _, fit = one("no net", balls=12)
    assert fit.balls_to_go() == (math.inf, math.inf)
    step = fit.next_step()
    assert not step.balls_help and step.code != "balls" and step.settled < step.clubs
    assert {"photo_lean", "photo_turn", "spot_ball", "balls"} <= set(step.steps["code"])
    assert step.steps["a_minute"].is_monotonic_decreasing
    assert "check_path" not in set(step.steps["code"])  # no ball of theirs hangs on the path


def test_what_a_check_is_said_to_bring_it_brings():
    _, shots, fit = one("path habit 3", balls=5)
    step = fit.next_step()
    assert (
        step.code == "check_path"
        and step.balls == 0
        and step.sentence.startswith("More balls alone cannot settle the bag.")
    )
    lines = {"lean_deg": (0, 0.3), "turn_deg": (0, 0.3)}
    after = lt.fit_bag(shots, fit.bag, session=SessionUnknowns(path_deg=(0, 1.0), **lines))
    open_clubs = ~fit.settled.to_numpy()
    came = (fit.table["u_lie_error_deg"] ** 2 - after.table["u_lie_error_deg"] ** 2)[open_clubs].sum()
    assert came == pytest.approx(step.lowers_by, rel=0.2)


def test_a_finished_bag_and_one_that_nothing_helps_both_stop():
    exact = {
        "path_deg": (0, 0.2),
        "lean_deg": (0, 0.1),
        "turn_deg": (0, 0.1),
        "aim_deg": (0, 0.1),
        "shaft_lean_deg": (5, 0.5),
    }
    _, _, fit = one("plain", balls=20, **exact)
    assert fit.finished and fit.next_step().code == "stop" and fit.balls_to_go() == (0, 0)
    golfer, shots, _ = one("no net", balls=60)
    gauged = golfer.bag(gauge=True)
    known = {"lean_deg": (0, 0.3), "turn_deg": (0, 0.3), "shaft_lean_deg": (5, 1.0)}
    # A heading that no net can show: the sensitivity is given as the turn's, which was measured already.
    shots = shots.assign(s_turn=4 * shots["s_turn"], s_heading=0.0)
    step = lt.fit_bag(shots, gauged, session=SessionUnknowns(**known), stop=lt.lie.Stop(tolerance_deg=0.5)).next_step()
    assert step.code == "stop" and step.settled < 8 and "five more balls would change nothing" in step.sentence


# --- what the model leaves out
# ------------------------------------------------------------------------------------------------------


def test_a_club_that_stands_apart_is_found_and_its_interval_holds():
    row = honest.measure(swings.WORLDS["odd club 3"], 60, 5, 81)
    assert row["odd held"] > 0.75 and row["odd named"] > 0.35
    plain = honest.measure(PLAIN, 60, 5, 82)
    assert plain["odd named"] < 0.15


def test_one_club_off_is_not_laid_on_its_neighbours():
    rows = [(label, 3.0 if label == "9" else 0.0) for label in golfers.LABELS for _ in range(4)]
    shots = pd.DataFrame(rows, columns=["club", "lie_error_deg"]).assign(u_lie_error_deg=0.4)
    bag = swings.draw(PLAIN, np.random.default_rng(0)).bag()
    apart, not_thought_of = (
        lt.fit_bag(shots, bag, priors=lt.lie.Priors(odd_probability=p)).table.set_index("club")["lie_error_deg"]
        for p in (0.05, 0.0)
    )
    assert apart["9"] > 2.6 and apart["9"] > not_thought_of["9"] + 0.05
    assert abs(apart["8"]) < abs(not_thought_of["8"])


def test_two_kinds_of_swing_are_said():
    row = honest.measure(swings.WORLDS["two kinds of swing"], 30, 8, 91)
    assert row["warned"] > 0.7 and row["clubs"] > 0.88
    _, _, fit = one("two kinds of swing", balls=8, seed=91)
    assert any("two kinds" in note for note in fit.warnings)


def test_runs_are_said_and_count_for_less():
    world = swings.world(runs=2.0)
    (golfer,), shots = swings.play(world, 1, 6, 95)
    fit = lt.fit_bag(shots, golfer.bag(), session=golfer.told)
    shuffled = lt.fit_bag(
        shots.assign(shot=np.random.default_rng(1).permutation(len(shots))), golfer.bag(), session=golfer.told
    )
    assert any("one after the other" in note for note in fit.warnings)
    assert not any("one after the other" in note for note in shuffled.warnings)
    assert fit.table["u_lie_error_deg"].mean() > shuffled.table["u_lie_error_deg"].mean() + 0.05
    assert "runs" in set(fit.budget("7")["code"])


# --- bad input --------------------------------------------------------------------------------------------------------
# -----------------


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"path_deg": 2.0}, "session: path_deg is 2.0; expected a value and its standard uncertainty"),
        ({"path_deg": (0, -1)}, "session: uncertainty of path_deg is -1"),
        ({"lean_deg": (90, 1)}, "session: value of lean_deg is 90"),
        ({"turn_deg": ("left", 1)}, "session: value of turn_deg is 'left'"),
    ],
)
def test_impossible_sessions_are_refused(given, words):
    with pytest.raises(lt.InputError) as caught:
        SessionUnknowns(**given)
    assert words in str(caught.value)


def test_a_share_of_odd_clubs_that_cannot_be_is_refused():
    with pytest.raises(lt.InputError, match="priors: odd_probability"):
        lt.lie.Priors(odd_probability=0.9)
