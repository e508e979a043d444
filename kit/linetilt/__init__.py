"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .bag import BagFit, NextClub, Priors, Stop, fit_bag, fit_bags
from .club import Bag, Club, read_bag
from .errors import InputError, LinetiltError, PhotoError

__version__ = "0.1.0"
__all__ = [
    "Bag", "BagFit", "Club", "InputError", "LinetiltError", "NextClub", "PhotoError", "Priors", "Stop", "fit_bag", "fit_bags", "read_bag",
]