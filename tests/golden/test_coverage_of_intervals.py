"""The 95 % intervals cover the truth about as often as they say.

Five hundred readings err as the catalog declares; the errors are drawn by
``noisy_readings``, apart from the engines' own sampling.
"""

from collections import defaultdict
from collections.abc import Callable

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.phantoms.analytic_film import (
    AnalyticFilm,
    AnalyticPelvis,
    FilmMaking,
    false_profile_film,
    lateral_film,
    pelvis_film,
)
from hipwright.phantoms.analytic_hip import KINDS
from tests.golden.noisy_readings import read_again
from tests.golden.readings_of_phantoms import Key, findings_of

READINGS = 500
SEED = 20_260_914
LEAST, MOST = 0.92, 0.98
# With 500 readings of a true 95 % the share stays within these for all but one in 500.
MARKER = FilmMaking(relative_sd=0.02)
AT_ITS_FLOOR = {("retroversion_index", Side.LEFT)}
"""Rims that do not cross have an index of exactly 0, the least there is: an interval from 0
upward always covers it. The crossing hip on the right is held to both limits."""


def shares(films: list[AnalyticFilm]) -> dict[Key, float]:
    """How often each measurement's interval covers its truth, over one reading of each film."""
    generator = np.random.default_rng(SEED)
    catalog = load()
    hits: dict[Key, list[bool]] = defaultdict(list)
    for made in films:
        film, landmarks = read_again(made, catalog, generator)
        found = findings_of(film, landmarks)
        for key, truth in made.truth.items():
            value = found[key]
            assert isinstance(value, Measurement), key
            hits[key].append(value.estimate.low <= truth <= value.estimate.high)
    return {key: float(np.mean(covered)) for key, covered in hits.items()}


def pelvis_films() -> list[AnalyticFilm]:
    hips = {Side.LEFT: KINDS["cam"], Side.RIGHT: KINDS["retroverted"]}
    return [pelvis_film(hips, making=MARKER)] * READINGS


def lateral_films() -> list[AnalyticFilm]:
    return [lateral_film(Side.LEFT, KINDS["cam"], making=MARKER)] * READINGS


def false_profile_films() -> list[AnalyticFilm]:
    """The distance of the heads in space is as uncertain as the catalog declares it."""
    generator = np.random.default_rng(SEED)
    entry = load().measurement("false_profile_rotation")
    (name,) = entry.parameter_sd
    distances = generator.normal(entry.parameters[name], entry.parameter_sd[name], READINGS)
    return [
        false_profile_film(
            Side.LEFT,
            KINDS["normal"],
            making=MARKER,
            pelvis=AnalyticPelvis(false_profile_inter_head_mm=float(distance)),
        )
        for distance in distances
    ]


@pytest.mark.parametrize("made", [pelvis_films, lateral_films, false_profile_films])
def test_intervals_cover_the_truth_in_92_to_98_of_100_readings(
    made: Callable[[], list[AnalyticFilm]],
) -> None:
    films = made()
    for key, share in shares(films).items():
        if key in AT_ITS_FLOOR:
            assert share >= LEAST, f"{key}: {share:.3f}"
        else:
            assert LEAST <= share <= MOST, f"{key}: {share:.3f}"


def test_every_computed_entry_is_held_to_its_coverage() -> None:
    held = {
        name
        for films in (pelvis_films()[:1], lateral_films()[:1], false_profile_films()[:1])
        for name, _ in films[0].truth
    }
    entries = load().measurements.values()
    on_films = (entry for entry in entries if not entry.is_in_space)
    assert held == {entry.id for entry in on_films if entry.kind is not EntryKind.GRADED}
