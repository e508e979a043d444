"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .book import SessionBook
from .club import Bag, Club, read_bag
from .errors import BookError, InputError, LinetiltError, PhotoError
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline
from .rescue import rescue_book

__version__ = "0.1.0"
__all__ = [
    "Bag",
    "BookError",
    "Club",
    "InputError",
    "LieReading",
    "LinetiltError",
    "PhotoError",
    "SessionBook",
    "heading_from_start",
    "lie_reading",
    "read_bag",
    "rescue_book",
    "start_from_net",
    "start_from_offline",
]
