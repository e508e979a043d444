"""What metal may move: the plan of bends, and the study of a gauge."""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".plan": ["plan_bends"],
        ".gauge": ["GaugeStudy", "gauge_study"],
    },
)
