"""Practice: intervals that hold, honesty about no change, bends kept apart from hands, and clubs told apart from
days."""

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from linetilt.handouts import charts
from linetilt.session.practice import QUANTITIES, student_quantile
from scipy import stats

CLUB = lt.Club(label="7", loft_deg=34, lie_deg=62.5, length_in=37, score_line_length_mm=52)
DAYS = [f"2026-04-{day:02d}" for day in (1, 8, 11, 15, 22, 26, 29)]


def drawn(rng, *, days=6, balls=(3, 14), per_week=0.0, day_sd=0.0, shot_sd=4.0, clubs=1):
    """Shots of a golfer whose toe strike moves by `per_week` mm; every day has its own number of balls, and of each
    club."""
    rows = []
    for number in range(days):
        week = number * 5 / 7
        own = 6.0 + per_week * week + rng.normal(0, day_sd)
        many = int(rng.integers(*balls))
        club = rng.choice(clubs, many, p=rng.dirichlet(np.ones(clubs) * 2))
        day = (pd.Timestamp("2026-04-01") + pd.Timedelta(days=5 * number)).date().isoformat()
        rows.append(
            pd.DataFrame(
                {"day": day, "club": club.astype(str), "strike_toe_mm": own + 3.0 * club + rng.normal(0, shot_sd, many)}
            )
        )
    table = pd.concat(rows, ignore_index=True)
    return table.assign(strike_up_mm=17.0, tilt_deg=0.0, lie_error_deg=0.0, delivery_deg=0.0)


@pytest.mark.parametrize(
    "setting",
    [
        {"day_sd": 0.0},
        {"day_sd": 2.0},
        {"day_sd": 6.0, "days": 4},
        {"day_sd": 2.0, "days": 3},
        {"day_sd": 1.5, "days": 8, "clubs": 3},
        {"day_sd": 2.0, "days": 5, "balls": (1, 2)},
    ],
)
def test_the_trends_interval_holds_the_truth(setting):
    """200 golfers each; 95 % more or less three standard errors of the count."""
    held = 0
    for seed in range(200):
        trend = lt.session.practice_trend(drawn(np.random.default_rng(seed), per_week=-0.7, **setting))
        held += trend.low_per_week <= -0.7 <= trend.high_per_week
    assert 0.904 <= held / 200 <= 0.99, held


def test_a_golfer_who_changes_is_seen_and_one_who_does_not_is_not():
    verdicts = {
        per_week: [
            lt.session.practice_trend(drawn(np.random.default_rng(seed), days=8, day_sd=1.0, per_week=per_week)).verdict
            for seed in range(60)
        ]
        for per_week in (0.0, -1.5)
    }
    assert verdicts[0.0].count("no change yet") >= 52  # 57 expected; below 52 with a probability of 0.01
    assert verdicts[-1.5].count("less") >= 50 and verdicts[-1.5].count("more") == 0


def test_equal_days_give_the_plain_regression():
    """With as many balls each day and days that differ, it is least squares on the means of days: scipy's
    linregress."""
    shots = drawn(np.random.default_rng(5), days=7, balls=(5, 6), day_sd=5.0, per_week=-1.0)
    trend = lt.session.practice_trend(shots)
    means = shots.groupby("day")["strike_toe_mm"].mean()
    plain = stats.linregress(np.arange(7) * 5 / 7, means)
    assert trend.per_week == pytest.approx(plain.slope, rel=1e-6)
    reach = stats.t.ppf(0.975, 5) * plain.stderr
    assert trend.high_per_week - trend.per_week == pytest.approx(reach, rel=1e-3)
    assert trend.day_sd > 2


def test_a_change_of_clubs_is_no_change_of_the_golfer():
    rng = np.random.default_rng(3)
    shots = pd.DataFrame({"day": np.repeat(DAYS, 10), "club": np.tile(["7"] * 9 + ["W"], 7)})
    shots.loc[shots["day"] > "2026-04-14", "club"] = np.tile(["7"] + ["W"] * 9, 4)
    shots["strike_toe_mm"] = np.where(shots["club"] == "W", 8.0, 0.0) + rng.normal(0, 1, len(shots))
    shots[["strike_up_mm", "tilt_deg", "lie_error_deg", "delivery_deg"]] = 0.0
    assert lt.session.practice_trend(shots).verdict == "no change yet"
    with pytest.raises(lt.InputError, match="choose one club"):
        lt.session.practice_trend(shots[(shots["club"] == "7") == (shots["day"] < "2026-04-14")])


def test_sentences_say_how_little_is_known():
    shots = drawn(np.random.default_rng(1), days=5, day_sd=1.0)
    trend = lt.session.practice_trend(shots)
    assert (
        trend.sentence.startswith("No change yet: over 2.9 weeks")
        and "towards the heel" in trend.sentence
        and "towards the toe" in trend.sentence
    )
    two = lt.session.practice_trend(shots[shots["day"] < "2026-04-10"])
    assert two.verdict == "too few days" and "before the third" in two.sentence and np.isnan(two.per_week)
    for quantity in QUANTITIES:
        assert lt.session.practice_trend(shots, quantity, within_mm=6).sentence
    with pytest.raises(lt.InputError, match="offline"):
        lt.session.practice_trend(shots, "offline_m")


def test_share_within_a_distance():
    """Wilson's interval of 8 in 10: 0.490 to 0.943 (scipy's binomtest, and the paper's formula)."""
    toe = [0, 1, 2, 3, -4, -5, 6, 7, 20, -30]
    shots = pd.DataFrame(
        {
            "day": DAYS[0],
            "club": "7",
            "strike_toe_mm": toe,
            "strike_up_mm": [17] * 9 + [40.0],
            "lie_error_deg": 0,
            "delivery_deg": 0,
        }
    )
    row = lt.session.practice_days(shots, within_mm=8).iloc[0]
    expected = stats.binomtest(8, 10).proportion_ci(method="wilson")
    assert (row["balls"], row["share"]) == (10, 0.8)
    assert (row["low_share"], row["high_share"]) == pytest.approx((expected.low, expected.high))
    assert lt.session.practice_days(shots, within_mm=8, middle_up_mm=30)["share"].iloc[0] == 0  # 13 mm too low
    assert lt.session.practice_days(shots, within_mm=8, middle_toe_mm=20)["share"].iloc[0] == 0.1


@pytest.mark.parametrize("dof", [1, 2, 5, 60])
def test_student_quantile(dof):
    assert student_quantile(0.975, dof) == pytest.approx(stats.t.ppf(0.975, dof), rel=1e-5)


def handle_shots(rng, deg_by_day, balls=12, sd=0.8):
    rows = [
        {"day": day, "club": "7", "delivery_deg": deg + rng.normal(0, sd)}
        for day, deg in zip(DAYS, deg_by_day)
        for _ in range(balls)
    ]
    return pd.DataFrame(rows)


def test_hands_come_down_as_the_toe_comes_up():
    """By the sketch: hands lower by h at the grip bring the toe up by lie - asin(sin lie - h / L)."""
    target = 939.8 * (np.sin(np.radians(62.5)) - np.sin(np.radians(60.5)))  # 2° with a club of 37 in
    club = CLUB
    done = lt.session.practice_handle(handle_shots(np.random.default_rng(0), [-2, -2, -2, 0], balls=40), club, target)
    assert done.days["lowered_mm"].iloc[-1] == pytest.approx(target, abs=6)
    assert done.verdict == "there" and "mm down" in done.sentence and len(done.days) == 3
    half = lt.session.practice_handle(handle_shots(np.random.default_rng(0), [-2, -1.2], balls=40), club, target)
    assert half.verdict == "on the way"
    assert (
        lt.session.practice_handle(handle_shots(np.random.default_rng(2), [-2, -2], balls=30), club, target).verdict
        == "no change yet"
    )
    assert (
        lt.session.practice_handle(handle_shots(np.random.default_rng(0), [-2, -4], balls=30), club, target).verdict
        == "the wrong way"
    )
    up = 939.8 * (np.sin(np.radians(62.5)) - np.sin(np.radians(64.5)))  # hands up for a toe down by 2°
    assert (
        lt.session.practice_handle(handle_shots(np.random.default_rng(1), [2, 0], balls=40), club, up).verdict
        == "there"
    )
    assert (
        lt.session.practice_handle(
            handle_shots(np.random.default_rng(0), [-2, -1], balls=3, sd=1.5), club, target
        ).verdict
        == "too few balls to tell"
    )
    spread = np.linspace(
        -1.6, 1.6, 12
    )  # a standard deviation of 1.05°: 1.4° of change is known to about 0.9° either way
    wide = pd.DataFrame(
        {"day": np.repeat(DAYS[:2], 12), "club": "7", "delivery_deg": np.concatenate([spread - 2.0, spread - 0.6])}
    )
    assert lt.session.practice_handle(wide, club, target).verdict == "perhaps there"
    from_plan = lt.session.practice_handle(
        handle_shots(np.random.default_rng(0), [0], balls=9), club, target, start=(-2.0, 0.4)
    )
    assert len(from_plan.days) == 1 and from_plan.days["low_mm"].iloc[0] < target < from_plan.days["high_mm"].iloc[0]


def test_the_interval_of_the_hands_holds():
    held = 0
    for seed in range(200):
        last = lt.session.practice_handle(
            handle_shots(np.random.default_rng(seed), [-1.5, -0.5], balls=5), CLUB, 20
        ).days.iloc[-1]
        truth = 25.4 * 37 * (np.sin(np.radians(62.5)) - np.sin(np.radians(61.5)))
        held += last["low_mm"] <= truth <= last["high_mm"]
    assert 0.904 <= held / 200 <= 0.99, held


def test_hands_need_the_clubs_own_measures():
    shots = handle_shots(np.random.default_rng(0), [0, 1])
    with pytest.raises(lt.InputError, match="length_in None"):
        lt.session.practice_handle(shots, lt.Club(label="7", loft_deg=34, lie_deg=62), 10)
    with pytest.raises(lt.InputError, match="3 shots more than days"):
        lt.session.practice_handle(shots.groupby("day").head(1), CLUB, 10)


def test_a_bend_is_not_the_golfers_doing(tmp_path):
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        golfer = book.add_golfer("Robin")
        bag = book.add_bag(golfer, lt.Bag([CLUB]))
        for day, lie in (("2026-04-01", -2.0), ("2026-04-20", 0.1)):
            session = book.add_session(bag, day=day)
            for _ in range(4):
                book.add_shot(
                    session,
                    "7",
                    mark={"strike_toe_mm": 3.0, "strike_up_mm": 15.0},
                    lie={"lie_error_deg": lie, "u_lie_error_deg": 0.5},
                )
            book.add_shot(session, "7", mark={"strike_toe_mm": -20.0, "strike_up_mm": 2.0})  # no lie, but a strike
            book.set_aside(
                book.add_shot(
                    session, "7", mark={"strike_toe_mm": 30.0}, lie={"lie_error_deg": 9.0, "u_lie_error_deg": 0.5}
                ),
                "heavy",
            )
            book.add_bend(bag, "7", 2.0, day="2026-04-10") if day < "2026-04-10" else None
        shots = lt.session.practice_shots(book, golfer, "7")
        assert len(shots) == 10 and shots["strike_toe_mm"].min() == -20 and shots["strike_toe_mm"].max() == 3
        by_day = shots.groupby("day")["delivery_deg"].mean()
        assert by_day.tolist() == pytest.approx([-2.0, -1.9])
        with pytest.raises(lt.InputError, match="no shots with the 9"):
            lt.session.practice_shots(book, golfer, "9")


def test_wrong_distances_are_named():
    shots = drawn(np.random.default_rng(0))
    with pytest.raises(lt.InputError, match="within_mm"):
        lt.session.practice_days(shots, within_mm=0)


def test_the_figure_shows_what_the_trend_says():
    trend = lt.session.practice_trend(drawn(np.random.default_rng(5), days=7, day_sd=1.0, per_week=-1.5))
    line, days = charts.practice_figure(trend, "strike, mm towards the toe").data
    assert line.name == "trend" and (line.y[1] - line.y[0]) / trend.weeks == pytest.approx(trend.per_week, abs=1e-3)
    assert (
        list(days.y) == trend.days["value"].round(4).tolist()
        and list(days.error_y.array) == trend.days["u"].round(4).tolist()
    )
    few = lt.session.practice_trend(drawn(np.random.default_rng(5), days=2))
    assert len(charts.practice_figure(few, "mm").data) == 1
