"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .air import Air
from .bag import Priors, Stop, fit_bag, fit_bags
from .bagfit import BagFit, NextClub
from .bend import plan_bends
from .book import SessionBook
from .charts import dispersion_figure
from .club import Bag, Club, read_bag
from .dispersion import Comparison, Delivery, Target, carry_scale, compare_shots, simulate_shots, summarize_shots
from .errors import BookError, InputError, LinetiltError, PhotoError
from .flight import Landing, Launch, fly, launch
from .intake import PhotoIntake, open_photos
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline
from .mark import FaceMark, measure_photo, measure_photos
from .rescue import rescue_book
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
    "Stop",
    "Target",
    "carry_scale",
    "compare_shots",
    "dispersion_figure",
    "fit_bag",
    "fit_bags",
    "fly",
    "heading_from_start",
    "launch",
    "lie_reading",
    "lie_words",
    "measure_photo",
    "measure_photos",
    "open_photos",
    "plan_bends",
    "read_bag",
    "rescue_book",
    "shot_words",
    "simulate_shots",
    "start_from_net",
    "start_from_offline",
    "strike_words",
    "summarize_shots",
]
