"""The middle: what a session's facts say, and what to do next; intake, clinic and practice."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".middle": [
            "Standing",
            "keep_rules",
            "miss",
            "session_bag",
            "session_budgets",
            "session_fit",
            "session_plan",
            "session_shots",
            "standing",
        ],
        ".entering": ["enter_ball", "enter_readings"],
        ".handed": ["HandedPlan", "hand_out", "handed_plan"],
        ".bends": ["bench_table", "enter_bends", "retest"],
        ".clinic": ["clinic_sign_in", "clinic_turns"],
        ".intake": ["PhotoIntake", "open_photos"],
        ".practice": [
            "HandlePractice",
            "Trend",
            "practice_days",
            "practice_handle",
            "practice_shots",
            "practice_trend",
        ],
        ".which_book": ["open_book"],
        ".demo": ["demo_book", "demo_retakes"],
    },
)
