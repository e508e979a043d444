"""What leaves the bay: words, pictures, pages and tables."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".charts": ["dispersion_figure"],
        ".report": ["golfer_report", "golfer_reports"],
        ".bench_page": ["bench_sheet"],
        ".clinic_page": ["clinic_summary", "clinic_table"],
        ".export": ["export_book", "export_tables"],
    },
)
