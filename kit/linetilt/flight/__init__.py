"""From impact to landing: air, trajectory, dispersion, before and after."""

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
