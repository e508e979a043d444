"""Repeat photos of the same marks by several people -> how well a reading repeats, with one person and with several."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..base.errors import InputError

Array = NDArray[Any]
DRAWS, SEED = 20_000, 1  # of the mean squares, behind the intervals
COMPONENTS = ("repeatability", "people", "people with marks", "reproducibility", "gauge", "marks", "total")
LIMIT_FACTOR = 1.96 * math.sqrt(
    2.0
)  # two readings differ by less than this many standard deviations in 95 of 100 cases: ISO 5725-6, 4.1


@dataclass(frozen=True, eq=False)
class GaugeStudy:
    """What repeat readings say about a way of measuring.

    Attributes
    ----------
    anova : DataFrame
        source, dof, sum_sq, mean_sq, f, p; a row each for people, marks, people with marks, repeats and total.
    components : DataFrame
        A row each of `COMPONENTS`: variance, sd with its 95 % interval (low_sd, high_sd) in the unit of the readings,
        and share of the total variance. Reproducibility is the people's own differences and those with certain marks;
        the gauge is repeatability and reproducibility together.
    interaction_kept : bool
        False where people differed no more with certain marks than repeats do, so that both were pooled into
        repeatability.
    repeatability_limit, reproducibility_limit : float
        By how much two readings of one mark differ at most in 95 of 100 cases: by one person, and by two.
    stated_u : float
        Root mean square of the uncertainties that came with the readings (NaN: none came).
    unit : str
    left_out : tuple
        Marks that somebody read less often than the others did, and that the study therefore leaves out.
    """

    anova: pd.DataFrame
    components: pd.DataFrame
    interaction_kept: bool
    repeatability_limit: float
    reproducibility_limit: float
    stated_u: float
    unit: str
    left_out: tuple[Any, ...]

    def sentences(self) -> list[str]:
        """Return what the study says, a sentence each."""
        sd, unit = self.components["sd"], self.unit
        low, high = self.components.loc["gauge", ["low_sd", "high_sd"]]
        notes = [
            f"The same person reads the same mark to {sd['repeatability']:.2g}{unit} (standard deviation); anybody, to "
            f"{sd['gauge']:.2g}{unit} (95 % interval {low:.2g} to {high:.2g}{unit}).",
            f"Two readings of one mark differ by less than {self.repeatability_limit:.2g}{unit} in 95 of 100 cases "
            f"when one person takes both, and by less than {self.reproducibility_limit:.2g}{unit} when two people do.",
        ]
        people = int(self.anova.loc["people", "dof"]) + 1
        if people < 5:
            notes.append(f"With {people} people, how much people differ is known only roughly: see its interval.")
        if self.stated_u == self.stated_u:
            notes.append(
                f"The photos themselves claim {self.stated_u:.2g}{unit}, {self.stated_u / sd['gauge']:.2g} times what "
                "was found. The claim also covers what every photo of one mark has in common, such as ragged ink, "
                "which repeats cannot show."
            )
        if self.left_out:
            notes.append(f"Left out, because somebody's readings are missing: {', '.join(map(str, self.left_out))}.")
        return notes


def gauge_study(
    readings: pd.DataFrame,
    value: str = "tilt_deg",
    *,
    mark: str = "mark",
    person: str = "person",
    keep_interaction_below: float = 0.05,
) -> GaugeStudy:
    """Split the scatter of repeat readings by analysis of variance.

    Parameters
    ----------
    readings : DataFrame
        A row a reading; every person reads every mark, equally often and at least twice. Columns named by `mark`,
        `person` and `value`; `u_` + value is used where it is there. Rows without a number count as missing.
    value, mark, person : str
        Names of the columns: what was read, which mark it is, who took the photo.
    keep_interaction_below : float
        People's differences with certain marks are a component of their own if chance makes such ones with less than
        this probability; else they are pooled with the repeats.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    InputError
        When fewer than two people, two marks or two repeats are left.

    Examples
    --------
    >>> readings = pd.DataFrame(
    ...     [(mark, person, tilt) for mark, tilts in {"a": (1.0, 1.4, 1.1, 1.3), "b": (3.2, 3.0, 3.5, 3.1)}.items()
    ...      for person, tilt in zip(("Ansel", "Ansel", "Bryn", "Bryn"), tilts)],
    ...     columns=["mark", "person", "tilt_deg"],
    ... )
    >>> gauge_study(readings).components["sd"].loc[["repeatability", "marks"]].round(2).to_dict()
    {'repeatability': 0.21, 'marks': 1.41}

    Notes
    -----
    Two-way random-effects analysis of variance as in the Measurement Systems Analysis reference manual (AIAG, 4th ed.,
    2010), chapter III B. Intervals by generalized inference, Hamada and Weerahandi, J. Quality Technology 32 (2000)
    241-253: mean squares are drawn as dof · mean square / chi-squared.
    """
    table, repeats, left_out = _balanced(readings, value, mark, person)
    y = table[value].to_numpy(float).reshape(table[mark].nunique(), table[person].nunique(), repeats)
    marks, people, _ = y.shape
    mean, cell = y.mean(), y.mean(2)
    by_mark, by_person = cell.mean(1), cell.mean(0)
    dof = np.array([people - 1, marks - 1, (people - 1) * (marks - 1), marks * people * (repeats - 1)])
    sums = np.array(
        [
            marks * repeats * ((by_person - mean) ** 2).sum(),
            people * repeats * ((by_mark - mean) ** 2).sum(),
            repeats * ((cell - by_mark[:, None] - by_person + mean) ** 2).sum(),
            ((y - cell[..., None]) ** 2).sum(),
        ]
    )
    if sums[3] <= 0:
        raise InputError(f"{value}: every repeat is the same number; expected readings that were taken anew each time")
    squares = sums / dof
    chi = np.random.default_rng(SEED).chisquare(dof[:, None], (4, DRAWS))
    f = squares / np.array([squares[2], squares[2], squares[3], np.nan])
    against = chi / dof[:, None] / (chi / dof[:, None])[[2, 2, 3, 3]]
    p = (against >= f[:, None]).mean(1)
    kept = bool(p[2] < keep_interaction_below)
    if not kept:
        pooled = (sums[2] + sums[3]) / (dof[2] + dof[3])
        f[:2] = squares[:2] / pooled
        p[:2] = (chi[:2] / dof[:2, None] / ((chi[2] + chi[3]) / (dof[2] + dof[3])) >= f[:2, None]).mean(1)
    p[3], f[2] = np.nan, squares[2] / squares[3]
    anova = pd.DataFrame(
        {"dof": dof, "sum_sq": sums, "mean_sq": squares, "f": f, "p": p},
        index=["people", "marks", "people with marks", "repeats"],
    )
    anova.loc["total"] = [dof.sum(), sums.sum(), np.nan, np.nan, np.nan]
    drawn = sums[:, None] / chi
    pooled_drawn = (sums[2] + sums[3]) / (chi[2] + chi[3])
    variance = _components(squares, pooled if not kept else None, y.shape)
    spread = np.sqrt(np.quantile(_components(drawn, None if kept else pooled_drawn, y.shape), [0.025, 0.975], axis=1))
    components = pd.DataFrame(
        {
            "variance": variance,
            "sd": np.sqrt(variance),
            "low_sd": spread[0],
            "high_sd": spread[1],
            "share": variance / variance[-1],
        },
        index=list(COMPONENTS),
    )
    u = f"u_{value}"
    return GaugeStudy(
        anova=anova,
        components=components,
        interaction_kept=kept,
        repeatability_limit=LIMIT_FACTOR * components.loc["repeatability", "sd"],
        reproducibility_limit=LIMIT_FACTOR * components.loc["gauge", "sd"],
        stated_u=float(np.sqrt((table[u].astype(float) ** 2).mean())) if u in table else math.nan,
        unit="°" if value.endswith("_deg") else " mm" if value.endswith("_mm") else "",
        left_out=left_out,
    )


def _components(squares: Array, pooled: Array | None, shape: tuple[int, ...]) -> Array:
    """Return the variances in the order of `COMPONENTS` from the mean squares.

    `pooled` is the mean square of repeats and interaction together, or None where the two are kept apart.
    """
    marks, people, repeats = shape
    person_sq, mark_sq, both_sq, repeat_sq = squares
    error = repeat_sq if pooled is None else pooled
    below = both_sq if pooled is None else pooled
    both = np.maximum((both_sq - repeat_sq) / repeats, 0) if pooled is None else 0 * error
    person = np.maximum((person_sq - below) / (marks * repeats), 0)
    part = np.maximum((mark_sq - below) / (people * repeats), 0)
    return np.array([error, person, both, person + both, error + person + both, part, error + person + both + part])


def _balanced(readings: pd.DataFrame, value: str, mark: str, person: str) -> tuple[pd.DataFrame, int, tuple[Any, ...]]:
    """Return the readings of marks that all read equally often, in order; the number of repeats; the marks left out."""
    missing = [name for name in (value, mark, person) if name not in readings]
    if missing:
        raise InputError(f"the readings have no column {missing[0]!r}; expected {value}, {mark} and {person}")
    counts = readings[readings[value].notna()].groupby([mark, person]).size().unstack(fill_value=0)
    asked = readings.groupby([mark, person]).size().unstack(fill_value=0).to_numpy()
    repeats = int(asked.max(initial=0))
    whole = counts.index[(counts == repeats).all(axis=1)] if counts.shape[1] >= 2 else counts.index[:0]
    if counts.shape[1] < 2 or len(whole) < 2 or repeats < 2:
        raise InputError(
            f"{len(whole)} marks were read by all {counts.shape[1]} people {repeats} times; expected at least 2 marks "
            "that at least 2 people each read at least twice"
        )
    left_out = tuple(label for label in pd.unique(readings[mark]) if label not in whole)
    return readings[readings[mark].isin(whole)].sort_values([mark, person], kind="stable"), repeats, left_out
