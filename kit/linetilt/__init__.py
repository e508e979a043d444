"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from typing import TYPE_CHECKING

from .base.lazy import lazy

__version__ = "0.2.0"
__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".base.errors": ["BookError", "InputError", "LinetiltError", "PhotoError"],
        ".base.club": ["Bag", "Club"],
        ".base.bag_file": ["read_bag"],
        ".reading.batch": ["measure_photos"],
        ".reading.mark": ["FaceMark"],
        ".reading.pipeline": ["measure_photo"],
        ".marking.setup": ["measure_setup"],
        ".marking.strip": ["marking_strip"],
        ".lie.ball": ["LieReading", "lie_reading"],
        ".lie.balls": ["lie_readings"],
        ".lie.pooling": ["fit_bag"],
        ".lie.bagfit": ["BagFit"],
        ".flight.trajectory": ["fly", "launch"],
        ".flight.dispersion": ["simulate_shots"],
        ".flight.compare": ["compare_shots"],
        ".bench.plan": ["plan_bends"],
        ".bench.gauge": ["gauge_study"],
        ".book.book": ["SessionBook"],
        ".book.rescue": ["rescue_book"],
        ".session.middle": ["keep_rules", "session_fit", "session_plan", "session_shots"],
        ".session.entering": ["enter_readings"],
        ".session.which_book": ["open_book"],
        ".session.demo": ["demo_book"],
        ".handouts.bench_page": ["bench_sheet"],
        ".handouts.report": ["golfer_report"],
        ".handouts.export": ["export_book"],
    },
    moved={
        "Air": ".flight.air",
        "Comparison": ".flight.compare",
        "Delivery": ".flight.dispersion",
        "GaugeStudy": ".bench.gauge",
        "HandlePractice": ".session.practice",
        "Landing": ".flight.trajectory",
        "Launch": ".flight.trajectory",
        "NextClub": ".lie.advice",
        "PhotoIntake": ".session.intake",
        "Priors": ".lie.priors",
        "SetupReading": ".marking.setup",
        "Stop": ".lie.priors",
        "Target": ".flight.dispersion",
        "Trend": ".session.practice",
        "bench_table": ".session.bends",
        "carry_scale": ".flight.dispersion",
        "clinic_sign_in": ".session.clinic",
        "clinic_summary": ".handouts.clinic_page",
        "clinic_table": ".handouts.clinic_page",
        "clinic_turns": ".session.clinic",
        "demo_retakes": ".session.demo",
        "dispersion_figure": ".handouts.charts",
        "enter_bends": ".session.bends",
        "export_tables": ".handouts.export",
        "fit_bags": ".lie.pooling",
        "golfer_reports": ".handouts.report",
        "heading_from_start": ".lie.start",
        "lie_words": ".words.shots",
        "open_photos": ".session.intake",
        "practice_days": ".session.practice",
        "practice_handle": ".session.practice",
        "practice_shots": ".session.practice",
        "practice_trend": ".session.practice",
        "retest": ".session.bends",
        "session_bag": ".session.middle",
        "shot_words": ".words.shots",
        "start_from_net": ".lie.start",
        "start_from_offline": ".lie.start",
        "strike_words": ".words.shots",
        "summarize_shots": ".flight.dispersion",
    },
)


if TYPE_CHECKING:  # the same names for those who read types; tests/test_house.py compares the two lists
    from .base.bag_file import read_bag as read_bag
    from .base.club import Bag as Bag
    from .base.club import Club as Club
    from .base.errors import BookError as BookError
    from .base.errors import InputError as InputError
    from .base.errors import LinetiltError as LinetiltError
    from .base.errors import PhotoError as PhotoError
    from .bench.gauge import gauge_study as gauge_study
    from .bench.plan import plan_bends as plan_bends
    from .book.book import SessionBook as SessionBook
    from .book.rescue import rescue_book as rescue_book
    from .flight.compare import compare_shots as compare_shots
    from .flight.dispersion import simulate_shots as simulate_shots
    from .flight.trajectory import fly as fly
    from .flight.trajectory import launch as launch
    from .handouts.bench_page import bench_sheet as bench_sheet
    from .handouts.export import export_book as export_book
    from .handouts.report import golfer_report as golfer_report
    from .lie.bagfit import BagFit as BagFit
    from .lie.ball import LieReading as LieReading
    from .lie.ball import lie_reading as lie_reading
    from .lie.balls import lie_readings as lie_readings
    from .lie.pooling import fit_bag as fit_bag
    from .marking.setup import measure_setup as measure_setup
    from .marking.strip import marking_strip as marking_strip
    from .reading.batch import measure_photos as measure_photos
    from .reading.mark import FaceMark as FaceMark
    from .reading.pipeline import measure_photo as measure_photo
    from .session.demo import demo_book as demo_book
    from .session.entering import enter_readings as enter_readings
    from .session.middle import keep_rules as keep_rules
    from .session.middle import session_fit as session_fit
    from .session.middle import session_plan as session_plan
    from .session.middle import session_shots as session_shots
    from .session.which_book import open_book as open_book
