"""From the print to the lie: geometry, pooling of a bag."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".geometry": ["LieReading", "heading_from_start", "lie_reading", "start_from_net", "start_from_offline"],
        ".pooling": ["Priors", "Stop", "fit_bag", "fit_bags"],
        ".unknowns": ["SessionUnknowns"],
        ".bagfit": ["BagFit"],
        ".advice": ["NextClub", "NextStep"],
    },
)
