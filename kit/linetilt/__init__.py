"""linetilt: from the line a golf ball prints on the clubface to the lie of a bag. The public names, nothing else."""

from .air import Air
from .charts import dispersion_figure
from .club import Bag, Club, read_bag
from .dispersion import Comparison, Delivery, Target, carry_scale, compare_shots, simulate_shots, summarize_shots
from .errors import InputError, LinetiltError, PhotoError
from .flight import Landing, Launch, fly, launch
from .lie import LieReading, heading_from_start, lie_reading, start_from_net, start_from_offline

__version__ = "0.1.0"
__all__ = [
    "Air",
    "Bag",
    "Club",
    "Comparison",
    "Delivery",
    "InputError",
    "Landing",
    "Launch",
    "LieReading",
    "LinetiltError",
    "PhotoError",
    "Target",
    "carry_scale",
    "compare_shots",
    "dispersion_figure",
    "fly",
    "heading_from_start",
    "launch",
    "lie_reading",
    "read_bag",
    "simulate_shots",
    "start_from_net",
    "start_from_offline",
    "summarize_shots",
]
