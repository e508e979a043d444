"""The book: one SQLite file, its schema, and rescuing a damaged one."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".book": ["SessionBook"],
        ".rescue": ["rescue_book"],
    },
)
