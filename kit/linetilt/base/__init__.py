"""What everything stands on: errors, checks of numbers, tables as typed, files, units, clubs."""

from .lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".errors": ["BookError", "InputError", "LinetiltError", "PhotoError"],
        ".bag_file": ["read_bag"],
        ".club": ["Bag", "Club"],
    },
)
