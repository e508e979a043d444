"""Numbers and codes -> the trade's words, for screens, pages and tables alike. One vocabulary:

A club is *flat* or *upright*, and is bent *flat* or *upright*. What happened at impact is *toe down* or *toe up*: a
club that is too flat for the golfer meets the ball toe down, one that is too upright toe up. A print *leans to the toe*
or *to the heel*.
"""

from ..base.lazy import lazy

__getattr__, __dir__, __all__ = lazy(
    __name__,
    {
        ".shots": ["lie_words", "shot_words", "state_words", "strike_words"],
        ".terms": ["bend_words", "sits", "span_words"],
    },
)
