"""Readings that err as the catalog declares: do intervals cover, do shares of classes hold?"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind
from hipwright.domain.measurement import Measurement, Unit
from hipwright.domain.study import View
from hipwright.engines.measurement.classes import band_of
from hipwright.phantoms.analytic_film import AnalyticFilm
from tests.golden.noisy_readings import read_again
from tests.golden.readings_of_phantoms import findings_of
from tests.studies.errors import Measured
from tests.studies.space_truth import Key

READINGS = 500
SEED = 20_261_126


@dataclass(kw_only=True)
class Coverage:
    """How often intervals cover, by catalog id and view; and stated shares against what was.

    ``perfect`` is against what a perfect reading of the same film measures, ``space`` against
    the truth in space. ``stated`` holds, for every class with a share, the share and whether it
    was the class of the perfect reading; ``leading`` the same for the largest share alone;
    ``leading_in_space`` for the class of the truth in space.
    """

    perfect: dict[tuple[str, View], list[bool]] = field(default_factory=lambda: defaultdict(list))
    space: dict[tuple[str, View], list[bool]] = field(default_factory=lambda: defaultdict(list))
    at_floor: dict[tuple[str, View], int] = field(default_factory=lambda: defaultdict(int))
    missing: dict[tuple[str, View], int] = field(default_factory=lambda: defaultdict(int))
    stated: list[tuple[float, bool]] = field(default_factory=list)
    leading: list[tuple[float, bool]] = field(default_factory=list)
    leading_in_space: list[tuple[float, bool]] = field(default_factory=list)

    def share(self, row: tuple[str, View]) -> float:
        return float(np.mean(self.perfect[row]))


def noisy_coverage(
    readings: Sequence[Measured], *, count: int = READINGS, seed: int = SEED
) -> Coverage:
    """Read ``count`` films of each view once more, with the errors that the catalog declares."""
    generator = np.random.default_rng(seed)
    catalog, found = load(), Coverage()
    for view in (View.PELVIS_AP, View.DUNN_45, View.FALSE_PROFILE):
        films = [one for one in readings if one.reading.view is view]
        for index in generator.integers(0, len(films), count):
            one = films[index]
            made = AnalyticFilm(film=one.reading.film, landmarks=one.reading.landmarks, truth={})
            film, landmarks = read_again(made, catalog, generator)
            _enter(found, one, findings_of(film, landmarks))
    return found


def _enter(found: Coverage, one: Measured, again: Mapping[Key, object]) -> None:
    view = one.reading.view
    for key, perfect in one.values.items():
        row = key[0], view
        value = again[key]
        if not isinstance(value, Measurement):
            found.missing[row] += 1
            continue
        estimate = value.estimate
        if load().measurement(key[0]).parameter_sd:
            pass  # its interval holds the doubt of the body too, which a reading leaves alone
        elif perfect.value == 0 and perfect.unit in {Unit.PERCENT, Unit.MILLIMETER}:
            found.at_floor[row] += 1  # the least there is: an interval from 0 up always covers it
        else:
            found.perfect[row].append(estimate.low <= perfect.value <= estimate.high)
        if key in one.truth:
            found.space[row].append(estimate.low <= one.truth[key] <= estimate.high)
        _enter_classes(found, one, key, value)


def _enter_classes(found: Coverage, one: Measured, key: Key, value: Measurement) -> None:
    true, told = one.values[key].classification, value.classification
    if true is None or told is None:
        return
    found.stated += [(s.share, s.name == true.name) for s in told.shares]
    lead = told.shares[0]
    found.leading.append((lead.share, lead.name == true.name))
    if key in one.truth:
        chosen = load().measurement(key[0]).range_for(one.reading.view, None)
        assert chosen is not None
        in_space = band_of(one.truth[key], chosen)
        found.leading_in_space.append((lead.share, lead.name == in_space))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Stated shares between two edges, and how often they were right."""

    low: float
    high: float
    count: int
    stated: float
    right: float


EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0 + 1e-9)


def reliability(pairs: Sequence[tuple[float, bool]], edges: Sequence[float] = EDGES) -> list[Bin]:
    """Stated shares against what was, bin by bin; empty bins are left out."""
    shares = np.array([share for share, _ in pairs])
    right = np.array([was for _, was in pairs])
    bins: list[Bin] = []
    for low, high in pairwise(edges):
        inside = (shares >= low) & (shares < high)
        if inside.any():
            bins.append(
                Bin(
                    low=low,
                    high=min(high, 1.0),
                    count=int(inside.sum()),
                    stated=float(shares[inside].mean()),
                    right=float(right[inside].mean()),
                )
            )
    return bins


def computed_of(view: View) -> set[str]:
    """Every computed entry of the catalog for a view."""
    entries = load().measurements.values()
    return {e.id for e in entries if e.kind is not EntryKind.GRADED and view in e.views}
