"""Agreement of readers: how far two readings of the same thing may differ."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.evidence import Estimate, Spread

Floats = NDArray[np.float64]

LEVEL = 0.95
FEWEST = 2
FEWEST_PAIRS = 3


def detectable(sem: float, level: float = LEVEL) -> float:
    """Smallest detectable change from a standard error of measurement: 2.77 times it at 95 %.

    Two readings of the same thing differ by less in 95 of 100 cases, if they err
    independently and normally: ``1.96·√2·SEM``.

    Examples
    --------
    >>> f"{detectable(2.0):.2f}"
    '5.54'
    """
    return float(stats.norm.ppf((1 + level) / 2)) * math.sqrt(2) * sem


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """What several readers' readings of several films say about one measurement.

    ``icc`` is ICC(2,1): two-way random effects, absolute agreement, single reading, with
    its interval. ``sem`` is the standard error of one reading, readers' own offsets
    included, ``smallest_detectable_change`` 2.77 times it.
    """

    icc: Estimate
    sem: float
    smallest_detectable_change: float
    subjects: int
    readings: int


def agreement(ratings: Floats) -> Agreement:
    """Agreement of readings, by two-way analysis of variance.

    Parameters
    ----------
    ratings
        (subjects, readers or repeats), complete, in any one unit.

    Raises
    ------
    DegenerateGeometryError
        Fewer than two subjects or readings, a missing value, or no differences at all.

    Notes
    -----
    ICC(2,1) and its interval as in Shrout & Fleiss 1979 (checked against their worked example,
    recalled, and against the mean squares of a general-purpose ANOVA:
    ``tests/golden/test_agreement.py``). ``SEM = √(σ²_readers + σ²_error)``.
    """
    subjects, readings = _checked(ratings)
    between, readers, error = mean_squares(ratings)
    n, k = float(subjects), float(readings)
    whole = between + (k - 1) * error + k * (readers - error) / n
    if not whole > 0:
        raise _refused("readings that do not differ at all", "films that differ")
    icc = (between - error) / whole
    low, high = _icc_interval(n, k, (between, readers, error), icc)
    sem = math.sqrt(max((readers - error) / n, 0.0) + error)
    return Agreement(
        icc=Estimate(value=icc, low=low, high=high, level=LEVEL, spread=Spread.SAMPLING),
        sem=sem,
        smallest_detectable_change=detectable(sem),
        subjects=subjects,
        readings=readings,
    )


def mean_squares(ratings: Floats) -> tuple[float, float, float]:
    """Mean squares between subjects, between readers, and of what is left."""
    n, k = ratings.shape
    middle = ratings.mean()
    of_subjects, of_readers = ratings.mean(axis=1), ratings.mean(axis=0)
    between = k * float(((of_subjects - middle) ** 2).sum()) / (n - 1)
    readers = n * float(((of_readers - middle) ** 2).sum()) / (k - 1)
    left = ratings - of_subjects[:, None] - of_readers[None, :] + middle
    return between, readers, float((left**2).sum()) / ((n - 1) * (k - 1))


def _icc_interval(
    n: float, k: float, squares: tuple[float, float, float], icc: float
) -> tuple[float, float]:
    between, readers, error = squares
    if error == 0 and readers == 0:
        return icc, icc
    a = k * icc / (n * (1 - icc))
    b = 1 + k * icc * (n - 1) / (n * (1 - icc))
    both = a * readers + b * error
    freedom = both**2 / ((a * readers) ** 2 / (k - 1) + (b * error) ** 2 / ((n - 1) * (k - 1)))
    upper = (1 + LEVEL) / 2
    f_low = float(stats.f.ppf(upper, n - 1, freedom))
    f_high = float(stats.f.ppf(upper, freedom, n - 1))
    rest = k * readers + (k * n - k - n) * error
    low = n * (between - f_low * error) / (f_low * rest + n * between)
    high = n * (f_high * between - error) / (rest + n * f_high * between)
    return low, high


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """Bland and Altman's description of paired readings, second less first.

    ``bias`` is the mean difference, ``lower`` and ``upper`` the limits between which 95 % of
    differences lie, each with its interval.
    """

    bias: Estimate
    lower: Estimate
    upper: Estimate
    sd: float
    pairs: int


def differences(first: Floats, second: Floats) -> Differences:
    """Bias and limits of agreement of paired readings, (pairs,) each.

    Raises
    ------
    DegenerateGeometryError
        Fewer than three pairs, or readings that do not pair up.

    Notes
    -----
    The standard error of a limit is ``s·√(1/n + z²/(2(n − 1)))``.
    """
    if first.shape != second.shape or first.ndim != 1 or len(first) < FEWEST_PAIRS:
        found = f"{first.shape} and {second.shape} readings"
        raise _refused(found, "three or more pairs")
    gaps = second - first
    if not np.isfinite(gaps).all():
        raise _refused("a missing reading", "both readings of every pair")
    pairs, bias, sd = len(gaps), float(gaps.mean()), float(gaps.std(ddof=1))
    z = float(stats.norm.ppf((1 + LEVEL) / 2))
    t = float(stats.t.ppf((1 + LEVEL) / 2, pairs - 1))
    of_bias = t * sd / math.sqrt(pairs)
    of_limit = t * sd * math.sqrt(1 / pairs + z**2 / (2 * (pairs - 1)))
    return Differences(
        bias=_around(bias, of_bias),
        lower=_around(bias - z * sd, of_limit),
        upper=_around(bias + z * sd, of_limit),
        sd=sd,
        pairs=pairs,
    )


def _around(value: float, half: float) -> Estimate:
    return Estimate(
        value=value, low=value - half, high=value + half, level=LEVEL, spread=Spread.SAMPLING
    )


def _checked(ratings: Floats) -> tuple[int, int]:
    if ratings.ndim != 2 or min(ratings.shape) < FEWEST:  # noqa: PLR2004 - a table
        raise _refused(f"a table of {ratings.shape}", "two or more films and readings of each")
    if not np.isfinite(ratings).all():
        raise _refused("a missing reading", "the same readings of every film")
    return ratings.shape[0], ratings.shape[1]


def _refused(found: str, needed: str) -> DegenerateGeometryError:
    return DegenerateGeometryError(
        "cannot tell how readers agree",
        found=found,
        needed=needed,
        next_step="Read more films, or every film by every reader.",
        field="readings",
    )
