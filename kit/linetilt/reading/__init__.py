"""A photo of the face -> FaceMark, and many photos at once."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".batch": ["measure_photos"],
        ".drawing": ["draw_marks"],
        ".mark": ["FaceMark"],
        ".pipeline": ["measure_photo", "trace_photo"],
        ".remarks": ["REMARKS"],
    },
)
