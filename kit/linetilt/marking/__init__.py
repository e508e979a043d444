"""Before the hit: the strip to draw the line by, and the lean of the ball's line by photo."""

from typing import TYPE_CHECKING

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".setup": ["SetupReading", "measure_setup"],
        ".strip": ["marking_strip"],
    },
)


if TYPE_CHECKING:  # the same names for those who read types; tests/test_house.py compares the two lists
    from .setup import SetupReading as SetupReading
    from .setup import measure_setup as measure_setup
    from .strip import marking_strip as marking_strip
