"""What holds for every test: no book but its own, no deadline of the clock, and which tests are slow."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

os.environ.pop("LINETILT_BOOK", None)  # no test and no notebook under test works in the book of whoever runs them

settings.register_profile("linetilt", deadline=None)  # a busy machine is no defect
settings.load_profile("linetilt")

# `pytest -m "not slow"` leaves these out, all notebooks and all browser tests; the rest takes under a minute.
SLOW = {
    "test_bag.py": [
        "test_alarms_are_rare_for_golfers_who_fit_the_model",
        "test_intervals_hold_and_pooling_beats_the_simple_ways",
        "test_ranks_of_the_truth_are_even_when_golfers_follow_the_priors",
        "test_what_the_next_ball_is_said_to_bring_it_brings",
        "test_wild_bags_of_one_ball_a_club_never_run_away",
    ],
    "test_band.py": [],  # all of its tests
    "test_batch.py": [],
    "test_bench.py": [],
    "test_blur.py": [],
    "test_book.py": [
        "test_damage_is_said_and_rescued",
        "test_two_processes_make_one_book_at_once",
        "test_two_processes_write_at_once",
        "test_what_was_acknowledged_survives_kills",
    ],
    "test_book_faults.py": [],
    "test_clinic.py": ["test_the_season_is_the_same_each_time", "test_the_season_tells_its_story"],
    "test_export.py": [],
    "test_face.py": [],
    "test_gauge.py": ["test_intervals_hold_the_truth", "test_retakes_of_a_photo_measure_the_same_mark"],
    "test_hand.py": [],
    "test_honest.py": [],
    "test_house.py": ["test_mypy_finds_nothing"],
    "test_ink.py": [],
    "test_install.py": [],
    "test_lie_table.py": [],
    "test_main.py": ["test_jupyterlab_takes_the_settings"],
    "test_mark.py": [],
    "test_middle.py": ["test_pages_agree_after_any_entries_in_any_order"],
    "test_photos_panel.py": [],
    "test_practice.py": [],
    "test_privacy.py": [],
    "test_report.py": [],
    "test_setup.py": [],
    "test_steps.py": [],
    "test_wording.py": ["test_a_refused_photo_says_what_was_seen_and_what_to_do"],
}


def pytest_collection_modifyitems(items):
    for item in items:
        path = Path(item.path)
        names = SLOW.get(path.name)
        listed = names is not None and (not names or getattr(item, "originalname", item.name) in names)
        if listed or path.suffix == ".ipynb" or path.parent.name == "browser":
            item.add_marker(pytest.mark.slow)
