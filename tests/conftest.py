"""What holds for every test: no book but its own, no deadline of the clock, and which tests are slow."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

os.environ.pop("LINETILT_BOOK", None)  # no test and no notebook under test works in the book of whoever runs them

settings.register_profile("linetilt", deadline=None)  # a busy machine is no defect
settings.load_profile("linetilt")

# Files whose tests take long together; `pytest -m "not slow"` leaves them out. Single tests carry the marker themselves.
SLOW = {
    "test_batch.py",
    "test_book_faults.py",
    "test_demo_photos.py",
    "test_install.py",
}


def pytest_collection_modifyitems(items):
    for item in items:
        path = Path(item.path)
        if path.suffix == ".ipynb" or path.parent.name == "browser" or path.name in SLOW:
            item.add_marker(pytest.mark.slow)
