"""From impact to landing: air, trajectory, dispersion, before and after."""

from typing import TYPE_CHECKING

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".air": ["Air"],
        ".trajectory": ["Landing", "Launch", "fly", "launch"],
        ".dispersion": ["Delivery", "Target", "carry_scale", "simulate_shots", "summarize_shots"],
        ".compare": ["Comparison", "compare_shots"],
    },
)


if TYPE_CHECKING:  # the same names for those who read types; tests/test_house.py compares the two lists
    from .air import Air as Air
    from .compare import Comparison as Comparison
    from .compare import compare_shots as compare_shots
    from .dispersion import Delivery as Delivery
    from .dispersion import Target as Target
    from .dispersion import carry_scale as carry_scale
    from .dispersion import simulate_shots as simulate_shots
    from .dispersion import summarize_shots as summarize_shots
    from .trajectory import Landing as Landing
    from .trajectory import Launch as Launch
    from .trajectory import fly as fly
    from .trajectory import launch as launch
