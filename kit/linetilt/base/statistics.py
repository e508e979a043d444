"""Factors that turn a standard uncertainty into an interval of 95 %."""

import math

import numpy as np

COVERAGE_FACTOR = 1.959963984540054  # 95 % of a normal distribution, both sides


def student_quantile(probability: float, dof: float) -> float:
    """Return the value that Student's t does not exceed with this probability.

    Parameters
    ----------
    probability : float
        From 0.5 to below 1.
    dof : float
        Degrees of freedom, 1 or more.

    Examples
    --------
    >>> round(student_quantile(0.975, 10), 3)  # the printed tables say 2.228
    2.228

    Notes
    -----

    With t = √dof · tan φ the density is that of cos^(dof − 1) φ, which is summed here.
    """
    angle = np.linspace(0, np.pi / 2, 20001)
    density = np.cos(angle) ** (dof - 1)
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return math.sqrt(dof) * math.tan(float(np.interp((2 * probability - 1) * below[-1], below, angle)))
