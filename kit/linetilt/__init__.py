"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .base.club import Bag, Club, read_bag
from .base.errors import BookError, InputError, LinetiltError, PhotoError
from .bench.gauge_study import GaugeStudy, gauge_study
from .bench.plan import plan_bends
from .book.book import SessionBook
from .book.rescue import rescue_book
from .flight.air import Air
from .flight.compare import Comparison, compare_shots
from .flight.dispersion import Delivery, Target, carry_scale, simulate_shots, summarize_shots
from .flight.trajectory import Landing, Launch, fly, launch
from .handouts.charts import dispersion_figure
from .handouts.export import export_book, export_tables
from .handouts.report import bench_sheet, clinic_summary, clinic_table, golfer_report, golfer_reports
from .handouts.words import lie_words, shot_words, strike_words
from .lie.bagfit import BagFit, NextClub
from .lie.geometry import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline
from .lie.pooling import Priors, Stop, fit_bag, fit_bags
from .marking.setup import SetupReading, measure_setup
from .marking.strip import marking_strip
from .reading.batch import measure_photos
from .reading.mark import FaceMark, measure_photo
from .session.bends import bench_table, enter_bends, retest, session_bag, session_fit, session_plan
from .session.clinic import clinic_sign_in, clinic_turns, enter_readings
from .session.demo import demo_book, demo_retakes
from .session.intake import PhotoIntake, open_photos
from .session.practice import HandlePractice, Trend, practice_days, practice_handle, practice_shots, practice_trend
from .session.which_book import open_book

__version__ = "0.1.0"
__all__ = [
    "Air",
    "Bag",
    "BagFit",
    "BookError",
    "Club",
    "Comparison",
    "Delivery",
    "FaceMark",
    "GaugeStudy",
    "HandlePractice",
    "InputError",
    "Landing",
    "Launch",
    "LieReading",
    "LinetiltError",
    "NextClub",
    "PhotoError",
    "PhotoIntake",
    "Priors",
    "SessionBook",
    "SetupReading",
    "Stop",
    "Target",
    "Trend",
    "bench_sheet",
    "bench_table",
    "carry_scale",
    "clinic_sign_in",
    "clinic_summary",
    "clinic_table",
    "clinic_turns",
    "compare_shots",
    "demo_book",
    "demo_retakes",
    "dispersion_figure",
    "enter_bends",
    "enter_readings",
    "export_book",
    "export_tables",
    "fit_bag",
    "fit_bags",
    "fly",
    "gauge_study",
    "golfer_report",
    "golfer_reports",
    "heading_from_start",
    "launch",
    "lie_reading",
    "lie_words",
    "marking_strip",
    "measure_photo",
    "measure_photos",
    "measure_setup",
    "open_book",
    "open_photos",
    "plan_bends",
    "practice_days",
    "practice_handle",
    "practice_shots",
    "practice_trend",
    "read_bag",
    "rescue_book",
    "retest",
    "session_bag",
    "session_fit",
    "session_plan",
    "shot_words",
    "simulate_shots",
    "start_from_net",
    "start_from_offline",
    "strike_words",
    "summarize_shots",
]
