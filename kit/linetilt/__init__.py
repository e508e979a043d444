"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .bag import Priors, Stop, fit_bag, fit_bags
from .bagfit import BagFit, NextClub
from .bend import plan_bends
from .club import Bag, Club, read_bag
from .errors import InputError, LinetiltError, PhotoError
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline

__version__ = "0.1.0"
__all__ = [
    "Bag",
    "BagFit",
    "Club",
    "InputError",
    "LieReading",
    "LinetiltError",
    "NextClub",
    "PhotoError",
    "Priors",
    "Stop",
    "fit_bag",
    "fit_bags",
    "heading_from_start",
    "lie_reading",
    "plan_bends",
    "read_bag",
    "start_from_net",
    "start_from_offline",
]
