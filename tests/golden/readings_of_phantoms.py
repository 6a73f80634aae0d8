"""Measures analytic films, keyed like their truth."""

from hipwright.catalog import Catalog, load
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.measurement import Finding, Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import Film
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.measurement.measure import measure_film, read_film
from hipwright.phantoms.analytic_film import AnalyticFilm

Key = tuple[str, Side | None]


def findings_of(
    film: Film,
    landmarks: LandmarkSet,
    *,
    catalog: Catalog | None = None,
    doubt: Doubt | None = None,
    sex: str | None = None,
) -> dict[Key, Finding]:
    """Everything that a reading measures, for both hips."""
    read = read_film(film, landmarks, catalog=catalog or load(), doubt=doubt, sex=sex)
    borders = [FilmBorder(film=film, side=side) for side in Side]
    return {(found.definition, found.side): found for found in measure_film(read, borders)}


def measured(made: AnalyticFilm, *, doubt: Doubt | None = None) -> dict[Key, Measurement]:
    """What an analytic film measures, without what it does not."""
    found = findings_of(made.film, made.landmarks, doubt=doubt)
    return {key: value for key, value in found.items() if isinstance(value, Measurement)}
