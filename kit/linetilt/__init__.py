"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .air import Air
from .bag import Priors, Stop, fit_bag, fit_bags
from .bagfit import BagFit, NextClub
from .batch import measure_photos
from .bench import bench_table, enter_bends, retest, session_bag, session_fit, session_plan
from .bend import plan_bends
from .book import SessionBook
from .charts import dispersion_figure
from .clinic import clinic_sign_in, clinic_turns, enter_readings
from .club import Bag, Club, read_bag
from .compare import Comparison, compare_shots
from .demo import demo_book, demo_retakes
from .dispersion import Delivery, Target, carry_scale, simulate_shots, summarize_shots
from .errors import BookError, InputError, LinetiltError, PhotoError
from .export import export_book, export_tables
from .flight import Landing, Launch, fly, launch
from .gauge import GaugeStudy, gauge_study
from .intake import PhotoIntake, open_photos
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline
from .mark import FaceMark, measure_photo
from .practice import HandlePractice, Trend, practice_days, practice_handle, practice_shots, practice_trend
from .report import bench_sheet, clinic_summary, clinic_table, golfer_report, golfer_reports
from .rescue import rescue_book
from .setup import SetupReading, measure_setup
from .strip import marking_strip
from .which_book import open_book
from .words import lie_words, shot_words, strike_words

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
