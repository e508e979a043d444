"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .air import Air
from .club import Bag, Club, read_bag
from .errors import InputError, LinetiltError, PhotoError

__version__ = "0.1.0"
__all__ = ["Bag", "Club", "InputError", "LinetiltError", "PhotoError", "read_bag"]
