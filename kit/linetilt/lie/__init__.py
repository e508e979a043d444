"""From the print to the lie: geometry, pooling of a bag."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".ball": ["LieReading", "lie_reading"],
        ".balls": ["lie_budgets", "lie_readings"],
        ".start": ["heading_from_start", "start_from_net", "start_from_offline"],
        ".pooling": ["fit_bag", "fit_bags"],
        ".priors": ["Priors", "Stop"],
        ".unknowns": ["SessionUnknowns"],
        ".bagfit": ["BagFit"],
        ".advice": ["NextClub", "NextStep"],
    },
)
