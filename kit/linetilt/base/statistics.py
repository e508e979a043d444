"""Factors that turn a standard uncertainty into an interval of 95 %."""

import math

import numpy as np

COVERAGE_FACTOR = 1.959963984540054  # 95 % of a normal distribution, both sides


def student_quantile(probability, dof):
    """Return the value that Student's t with `dof` degrees of freedom does not exceed with `probability` (0.5 to below 1).

    With t = √dof · tan φ the density is that of cos^(dof − 1) φ, which is summed here.
    """
    angle = np.linspace(0, np.pi / 2, 20001)
    density = np.cos(angle) ** (dof - 1)
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return math.sqrt(dof) * math.tan(np.interp((2 * probability - 1) * below[-1], below, angle))
