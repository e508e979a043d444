"""What leaves the bay: words, pictures, pages and tables."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".charts": ["dispersion_figure"],
        ".report": ["bench_sheet", "clinic_summary", "clinic_table", "golfer_report", "golfer_reports"],
        ".export": ["export_book", "export_tables"],
    },
)
