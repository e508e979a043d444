"""Decisions: each outcome, limits, the veto of the miss, both hands, and the sentences a fitter reads."""

import math

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from linetilt.bench.plan import CAUTION, _miss_cost
from linetilt.words.plans import OUTCOMES


def bag_of(*clubs, **common):
    return lt.Bag(
        [
            lt.Club(
                **(
                    {"loft_deg": 34, "lie_deg": 62.5, "length_in": 37.0, "head": "forged", "bend_limit_deg": 4.0}
                    | common
                    | club
                )
            )
            for club in clubs
        ]
    )


def plan_for(lie_error_deg, balls=12, scatter=0.4, misses=None, plan=None, **club):
    """Plan of a one-club bag whose shots lie around `lie_error_deg`; returns its row."""
    bag = bag_of({"label": "7"}, **club)
    shots = pd.DataFrame(
        {"club": "7", "lie_error_deg": lie_error_deg + scatter * np.linspace(-1, 1, balls), "u_lie_error_deg": 0.3}
    )
    if misses is not None:
        misses = pd.DataFrame([{"club": "7", "sd_left_m": 8.0} | misses])
    return lt.plan_bends(lt.fit_bag(shots, bag), bag, misses=misses, **(plan or {})).iloc[0]


# --- facts of the trade (common practice, no source, unless named) ----------------------------------------------------


@pytest.mark.parametrize(("handed", "side"), [("right", "right"), ("left", "left")])
def test_toe_down_sends_the_ball_off_and_asks_for_upright(handed, side):
    row = plan_for(-2.0, handed=handed)
    assert row["outcome"] == "bend" and row["bend_deg"] == pytest.approx(2.0, abs=0.25) and row["bend_deg"] > 0
    assert (
        row["reason"]
        == f"The 7 sits {-_said(row):.1f}° toe down, which sends the ball {side}: bend it {row['bend_deg']:g}° upright."
    )


@pytest.mark.parametrize(("handed", "side"), [("right", "left"), ("left", "right")])
def test_toe_up_is_the_mirror_image(handed, side):
    row = plan_for(2.0, handed=handed)
    assert (
        row["bend_deg"] < 0
        and f"toe up, which sends the ball {side}" in row["reason"]
        and row["reason"].endswith("flat.")
    )


def _said(row):
    return -float(row["reason"].split("sits ")[1].split("°")[0])


def test_half_an_inch_longer_plays_one_to_one_and_a_half_degrees_more_upright():
    row = plan_for(-1.25)
    assert 0.5 * 1.0 / 1.5 < row["longer_in"] < 0.6
    assert "in longer with the hands where they are" in row["alternative"]


def test_the_other_answer_is_the_same_change_by_hands():
    # h ≈ change · L · cos Λ: 2° on 37 in (939.8 mm) at 62.5° is 15.1 mm
    row = plan_for(-2.0)
    change = math.radians(-_said(row))
    assert row["hands_lower_mm"] == pytest.approx(change * 939.8 * math.cos(math.radians(62.5)), rel=0.05)
    assert row["alternative"].startswith(f"hands {row['hands_lower_mm']:.0f} mm lower")
    assert "higher" in plan_for(2.0)["alternative"]


def test_length_past_an_inch_is_no_answer():
    assert plan_for(-4.0)["alternative"].endswith("length alone cannot do it")


# --- outcomes ---------------------------------------------------------------------------------------------------------


def test_level_club_is_left_alone():
    row = plan_for(0.1)
    assert (row["outcome"], row["bend_deg"]) == ("leave", 0.0)
    assert row["reason"] == "The 7 sits within 0.1° of level: leave it alone."
    assert row["caution"] == ""


def test_bend_that_is_not_sure_to_help_is_not_made():
    row = plan_for(0.55, balls=8, scatter=1.6)
    assert row["outcome"] in ("leave", "more_balls") and row["bend_deg"] == 0
    assert row["helps"] < 0.8


def test_wide_interval_asks_for_more_balls():
    row = plan_for(-2.5, balls=2, scatter=2.0)
    assert row["outcome"] == "more_balls" and row["bend_deg"] == 0
    assert "may be anywhere from" in row["reason"] and "hit more balls before anybody bends it" in row["reason"]


def test_head_limit_gives_part_of_the_bend_and_names_it():
    row = plan_for(-3.0, bend_limit_deg=2.0)
    assert (row["outcome"], row["bend_deg"], row["limit"]) == ("part", 2.0, "head")
    assert (
        "bend it 2° upright and no more, since its head allows 2° upright of the maker's figure; the rest is for the "
        "hands" in row["reason"]
    )
    assert row["hands_lower_mm"] == pytest.approx(
        math.radians(1.0) * 939.8 * math.cos(math.radians(62.5)), abs=1.5
    )  # for the rest


def test_bends_done_before_count_towards_the_limit():
    row = plan_for(-3.0, bend_limit_deg=2.0, bent_deg=1.5)
    assert row["bend_deg"] == 0.5 and "of which 1.5° is used up" in row["reason"]
    row = plan_for(-3.0, bend_limit_deg=2.0, gauge_lie_deg=61.5)
    assert row["bend_deg"] == pytest.approx(3.0, abs=0.01) and row["outcome"] in ("bend", "part")


def test_cap_of_the_golfer_binds_where_it_is_tighter():
    row = plan_for(-3.0, plan={"cap_deg": 1.0})
    assert (row["outcome"], row["bend_deg"], row["limit"]) == ("part", 1.0, "cap")
    assert "the golfer's cap is 1° upright of the maker's figure" in row["reason"]
    assert plan_for(-3.0, bend_limit_deg=2.0, plan={"cap_deg": 3.0})["limit"] == "head"


def test_head_that_must_not_be_bent_leaves_the_hands():
    row = plan_for(-2.0, head="not bendable", bend_limit_deg=None)
    assert (row["outcome"], row["bend_deg"], row["limit"]) == ("hands", 0.0, "head")
    assert row["reason"].endswith("but its head must not be bent: work on the hands.")
    assert row["hands_lower_mm"] > 10


def test_no_lie_above_eighty_degrees():
    # The Equipment Rules, Part 2, 1d (from memory): the shaft at least 10° from upright.
    row = plan_for(-3.0, lie_deg=79.0)
    assert (row["bend_deg"], row["limit"]) == (1.0, "rules") and row["lie_after_deg"] == 80.0


def test_whole_steps_of_the_bench():
    for step in (0.25, 0.5):
        bend = plan_for(-1.7, plan={"step_deg": step})["bend_deg"]
        assert bend / step == round(bend / step)
        assert abs(bend - 1.7) <= step / 2 + 0.15
    assert plan_for(-3.0, bend_limit_deg=1.9, plan={"step_deg": 0.5})["bend_deg"] == 1.5  # never rounded past a limit


def test_no_bend_smaller_than_the_bench_can_hold():
    assert (
        plan_for(-0.3, balls=60, scatter=0.2, plan={"worth_deg": 0.0, "sure": 0.6, "bend_uncertainty_deg": 0.4})[
            "bend_deg"
        ]
        == 0
    )


def test_vague_bends_help_less():
    sharp, vague = (plan_for(-0.8, plan={"bend_uncertainty_deg": u}) for u in (0.05, 0.6))
    assert vague["helps"] < sharp["helps"]


# --- the miss ---------------------------------------------------------------------------------------------------------


def test_the_feared_miss_has_a_veto():
    row = plan_for(-2.0, misses={"mean_left_m": 4.0, "feared": "left"})
    assert (row["outcome"], row["bend_deg"]) == ("miss_first", 0.0)
    assert row["reason"] == "An upright bend moves shots left, and left is the miss you fear: work on the hands first."
    assert row["hands_lower_mm"] > 10  # the other answer still stands beside it


def test_left_hander_is_mirrored_and_left_is_real_left():
    # A left-hander's upright bend sends shots to the real right.
    row = plan_for(-2.0, misses={"mean_left_m": -4.0, "feared": "right"}, handed="left")
    assert (
        row["reason"] == "An upright bend moves shots right, and right is the miss you fear: work on the hands first."
    )
    assert plan_for(-2.0, misses={"mean_left_m": 4.0, "feared": "left"}, handed="left")["outcome"] == "bend"


def test_a_miss_that_the_bend_cures_is_no_veto():
    assert plan_for(-2.0, misses={"mean_left_m": -10.0, "feared": "right"})["outcome"] == "bend"
    assert (
        plan_for(-2.0, misses={"mean_left_m": -25.0, "feared": "left"})["outcome"] == "bend"
    )  # far right: left is no danger


def test_a_flat_bend_is_judged_the_same_way():
    row = plan_for(2.0, misses={"mean_left_m": -3.0, "feared": "right"})
    assert row["reason"].startswith("A flat bend moves shots right, and right is the miss you fear")


def test_a_bend_that_worsens_a_miss_nobody_named_is_advised_against_too():
    row = plan_for(-2.0, misses={"mean_left_m": 8.0, "feared": ""})
    assert row["outcome"] == "miss_first" and "do not miss the other way" in row["reason"]


def test_own_measure_of_what_a_degree_does_is_used():
    # A golfer who squares the face by habit: the bend moves nothing, so there is nothing to veto.
    assert plan_for(-2.0, misses={"mean_left_m": 4.0, "feared": "left", "left_m_per_deg": 0.0})["outcome"] == "bend"


@pytest.mark.parametrize(
    ("mean", "sd", "left", "right"), [(0.0, 5.0, 1.0, 1.0), (-4.0, 7.0, 3.0, 1.0), (6.0, 2.0, 1.0, 2.5)]
)
def test_cost_of_a_miss_is_the_integral(mean, sd, left, right):
    integrate, stats = pytest.importorskip("scipy.integrate"), pytest.importorskip("scipy.stats")
    whole = integrate.quad(
        lambda x: (left if x > 0 else right) * x**2 * stats.norm.pdf(x, mean, sd), -80, 80, points=[0.0]
    )[0]
    assert _miss_cost(mean, sd, left, right) == pytest.approx(whole, rel=1e-6)


# --- the set as a whole -----------------------------------------------------------------------------------------------


def set_plan(errors, **changes):
    labels = ["5", "6", "7", "8", "9"]
    bag = bag_of(
        *(
            {"label": label, "length_in": 38 - i / 2, "lie_deg": 61.5 + i / 2, "loft_deg": 26 + 4 * i}
            | changes.get(label, {})
            for i, label in enumerate(labels)
        )
    )
    shots = pd.DataFrame(
        [
            {"club": label, "lie_error_deg": error + off, "u_lie_error_deg": 0.3}
            for label, error in zip(labels, errors)
            for off in np.linspace(-0.5, 0.5, 10)
        ]
    )
    return lt.plan_bends(lt.fit_bag(shots, bag), bag)


def test_steps_between_clubs_are_watched():
    plan = set_plan([0, 0, -3, 0, 0])
    assert any("from the 7 to the 8" in note and "falls by" in note for note in plan.attrs["set_notes"])
    assert not any("from the" in note for note in set_plan([-1, -1, -1, -1, -1]).attrs["set_notes"])


def test_odd_club_is_put_down_to_the_club_where_the_gauge_says_so():
    notes = set_plan([0, 0, 2, 0, 0], **{"7": {"gauge_lie_deg": 64.5}}).attrs["set_notes"]
    assert any(note.startswith("The 7 itself is 2° upright of the maker's figure") for note in notes)
    notes = set_plan([0, 0, 3, 0, 0], **{"7": {"gauge_lie_deg": 62.5}}).attrs["set_notes"]
    assert any(note.startswith("The 7 stands apart") and "how the golfer swings it" in note for note in notes)


def test_cautions():
    assert "qualified club technician" in CAUTION and "limit" in CAUTION
    plan = set_plan([-1.5] * 5, **{"6": {"head": "cast"}, "8": {"head": None}})
    assert plan.attrs["caution"] == CAUTION
    assert plan.loc[1, "caution"].startswith("Cast heads crack") and "treated as cast" in plan.loc[3, "caution"]
    assert plan.loc[0, "caution"] == ""


def test_reasons_are_short_plain_sentences():
    for errors in ([-2, -1, 0, 1, 2], [5, 3, 0.4, -3, -5], [-0.6] * 5):
        for _, row in set_plan(
            errors, **{"6": {"bend_limit_deg": 1.0}, "8": {"head": "not bendable", "bend_limit_deg": None}}
        ).iterrows():
            assert row["outcome"] in OUTCOMES
            assert row["reason"].endswith(".") and len(row["reason"].split()) <= 40
            assert row["reason"].count(". ") == 0  # one sentence
            assert "_" not in row["reason"] and "nan" not in row["reason"]


def test_after_the_plan_the_bag_is_nearer_to_level():
    plan = set_plan([-2.0, -1.5, -1.0, -1.2, -2.2])
    assert (plan["within_one_after"] > 0.9).all()


def test_a_bend_that_was_done_is_not_asked_for_again():
    """The club was found 2° toe down and has been bent 2° since: by the gauge it is 2° upright of the maker's figure
    now."""
    bag = bag_of({"label": "7", "gauge_lie_deg": 62.5})
    shots = pd.DataFrame({"club": "7", "lie_error_deg": -2.0 + np.linspace(-0.4, 0.4, 12), "u_lie_error_deg": 0.3})
    fit = lt.fit_bag(shots, bag)
    asked = lt.plan_bends(fit, bag).iloc[0]
    bent = bag_of({"label": "7", "gauge_lie_deg": 62.5 + asked["bend_deg"]})
    row = lt.plan_bends(fit, bent, done_deg={"7": asked["bend_deg"]}).iloc[0]
    assert (row["outcome"], row["bend_deg"], row["lie_now_deg"]) == ("leave", 0.0, 62.5 + asked["bend_deg"])
    assert row["reason"].startswith(f"The 7, bent {asked['bend_deg']:g}° upright since these balls, should sit")
    half = lt.plan_bends(fit, bag_of({"label": "7", "gauge_lie_deg": 63.5}), done_deg={"7": 1.0}).iloc[0]
    assert half["bend_deg"] == asked["bend_deg"] - 1.0 and half["lie_after_deg"] == asked["lie_after_deg"]
    assert half["low_deg"] < half["lie_error_deg"] < half["high_deg"] and half["lie_error_deg"] == pytest.approx(
        asked["lie_error_deg"] + 1
    )


# --- bad input --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        ({"step_deg": 0}, "step_deg is 0"),
        ({"cap_deg": -1}, "cap_deg is -1"),
        ({"bend_uncertainty_deg": math.nan}, "bend_uncertainty_deg is nan"),
        ({"sure": 80}, "sure is 80"),
    ],
)
def test_impossible_choices_are_refused(choice, words):
    with pytest.raises(lt.InputError, match=words):
        plan_for(-1.0, plan=choice)


@pytest.mark.parametrize(
    ("miss", "words"),
    [
        ({"mean_left_m": 1.0, "feared": "hook"}, "feared of club 7 is 'hook'"),
        ({"mean_left_m": math.nan, "feared": "left"}, "mean_left_m of club 7 is nan"),
        ({"mean_left_m": 1.0, "feared": "left", "sd_left_m": 0}, "sd_left_m of club 7 is 0"),
        ({"mean_left_m": 1.0, "feared": "left", "club": "2"}, "no club '2' in the bag"),
        ({"mean_left_m": 1.0}, "misses is no table of misses; expected a DataFrame with the columns"),
    ],
)
def test_unusable_misses_are_refused(miss, words):
    with pytest.raises(lt.InputError, match=words):
        plan_for(-1.0, misses=miss)


def test_bag_without_the_fitted_club_is_refused():
    bag = bag_of({"label": "7"})
    fit = lt.fit_bag(pd.DataFrame({"club": ["7"], "lie_error_deg": [1.0], "u_lie_error_deg": [0.3]}), bag)
    with pytest.raises(lt.InputError, match="no club '7'"):
        lt.plan_bends(fit, bag_of({"label": "8"}))
