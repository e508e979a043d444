"""Before the hit: the strip to draw the line by, and the lean of the ball's line by photo."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".setup": ["SetupReading", "measure_setup"],
        ".strip": ["marking_strip"],
    },
)
