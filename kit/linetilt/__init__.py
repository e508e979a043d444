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
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline
from .rescue import rescue_book
from .setup import SetupReading, measure_setup
from .strip import marking_strip

__version__ = "0.1.0"
__all__ = [
    "Air",
    "Bag",
    "BagFit",
    "BookError",
    "Club",
    "Comparison",
    "Delivery",
    "InputError",
    "Landing",
    "Launch",
    "LieReading",
    "LinetiltError",
    "NextClub",
    "PhotoError",
    "Priors",
    "SessionBook",
    "SetupReading",
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
    "marking_strip",
    "measure_setup",
    "plan_bends",
    "read_bag",
    "rescue_book",
    "simulate_shots",
    "start_from_net",
    "start_from_offline",
    "summarize_shots",
]
