"""The words for a shot: sides, rounding, units, and what the ± means."""

import math

import linetilt as lt
import pytest
from linetilt.base.states import reason_of
from linetilt.words import shots as words
from scipy.stats import norm


def test_a_lie_error_is_said_as_the_trade_says_it():
    assert words.lie_words(-1.23) == "toe down about 1.2°"
    assert words.lie_words(0.85, 0.25) == "toe up about 0.8°, ±0.5°"
    assert words.lie_words(-0.04, 0.25) == "level, ±0.5°"


@pytest.mark.parametrize("u", [0.1, 0.2551, 0.6, 1.7])
def test_plus_minus_is_the_95_percent_interval_and_never_rounded_down(u):
    # GUM 7.2.2: "±" is for an interval of high confidence; 1.96 from scipy's normal distribution
    shown = float(words.lie_words(1.0, u).split("±")[1].rstrip("°"))
    wide = norm.ppf(0.975) * u
    assert wide <= shown < wide + 0.1


def test_strike_in_millimetres_and_inches():
    assert (
        words.strike_words(4.2, 15.0, 0.5, 0.9)
        == "4 mm to the toe, ±1 mm; 15 mm above the lowest full score line, ±2 mm"
    )
    # 25.4 mm to the inch, exactly (international yard and pound agreement, 1959)
    assert (
        words.strike_words(-25.4, -12.7, unit="in") == "1.00 in to the heel; 0.50 in below the lowest full score line"
    )
    assert words.strike_words(0.3, 0.2) == "in the middle; on the lowest full score line"
    with pytest.raises(lt.InputError, match='expected "mm" or "in"'):
        words.strike_words(1, 2, unit="cm")


def test_a_closed_start_is_left_for_one_hand_and_right_for_the_other():
    assert (
        words.start_words(0.7) == "0.7° left of the line" and words.start_words(0.7, "left") == "0.7° right of the line"
    )
    assert words.start_words(-0.7) == "0.7° right of the line" and words.start_words(0.01) == "on the line"
    net = lt.lie.start_from_net(50, 3000, "left")
    assert "left" in words.start_words(net.start_deg, "left")
    with pytest.raises(lt.InputError):
        words.start_words(0.7, "both")


def test_a_shot_in_words_leaves_out_what_is_not_known():
    shot = {
        "lie_error_deg": -1.2,
        "u_lie_error_deg": 0.25,
        "tilt_deg": -1.5,
        "u_tilt_deg": 0.2,
        "strike_toe_mm": math.nan,
        "strike_up_mm": math.nan,
        "line_width_mm": math.nan,
        "start_deg": math.nan,
    }
    said = words.shot_words(shot)
    assert (
        said[0] == "Toe down about 1.2°, ±0.5°."
        and "leans 1.5° to the heel" in said[1]
        and "Nobody saw" in said[2]
        and len(said) == 3
    )
    said = words.shot_words(shot | {"strike_toe_mm": 4, "strike_up_mm": 15, "line_width_mm": 2.3, "start_deg": 1.0})
    assert (
        said[1].startswith("Strike 4 mm to the toe")
        and said[2].endswith("the line is 2.3 mm wide.")
        and "1.0° left" in said[3]
    )
    assert (
        words.shot_words({"lie_error_deg": -1.2, "u_lie_error_deg": 0.62})[0]
        == "Toe down about 1.2°, ±1.3°; this ball alone does not tell up from down."
    )
    assert words.shot_words({}) == []


def test_what_became_of_a_shot_is_said_by_its_code_or_in_the_fitters_words():
    def said(state, reason="", why=""):
        return words.state_words({"state": state, "reason": reason, "why": why})

    assert [said(state) for state in ("to_look_at", "counted", "refused")] == ["to look at", "counted", "refused"]
    assert said("set_aside", "heavy_strike") == "heavy strike" and said("set_aside", "taken_back") == "taken back"
    assert said("set_aside", "other", "hit the mat's edge") == "hit the mat's edge"
    assert said("set_aside", "other") == "other"
    for words_or_code in ("heavy strike", "heavy_strike", "Heavy strike "):
        assert reason_of(words_or_code) == ("heavy_strike", "")
    assert reason_of("hit the mat's edge") == ("other", "hit the mat's edge")
    with pytest.raises(lt.InputError, match="the reason is empty"):
        reason_of(" ")


def test_a_refusal_is_what_was_seen_and_the_advice_of_its_code():
    refused = {"state": "refused", "reason": "no_face", "why": "no set of score lines was found"}
    said = words.refusal_words(refused)
    assert said == f"No set of score lines was found. What to do: {lt.PhotoError.kinds()['no_face'].advice}."
    old = "Two lines. What to do: wipe the face."  # as an older kit kept it: the whole sentence, without a code
    assert words.refusal_words(refused | {"reason": "", "why": old}) == old
    assert words.refusal_words(refused | {"state": "counted"}) == ""
