"""The middle: what a session's facts say, and what to do next; intake, clinic and practice."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".bends": ["bench_table", "enter_bends", "retest", "session_bag", "session_fit", "session_plan"],
        ".lie_table": ["keep_rules"],
        ".clinic": ["clinic_sign_in", "clinic_turns", "enter_readings"],
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
