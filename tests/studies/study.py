"""The accuracy study: everything of it in one run, the same for the same seed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE
from hipwright.phantoms.demonstration_films import film_plan
from hipwright.phantoms.people import Person, build_person
from hipwright.phantoms.person_spec import PersonSpec
from tests.studies.automatic import CircleError, LevelError, circle_errors, level_errors
from tests.studies.coverage import Coverage, noisy_coverage
from tests.studies.errors import Error, Measured, measure_person
from tests.studies.modeled_people import SEED, random_people
from tests.studies.perfect_readings import Position, random_positions
from tests.studies.real_bones import EdgeOnFilm, HeadOnFilm, edges_on_films, heads_on_films
from tests.studies.signs import SignChange, sign_changes
from tests.studies.space_truth import SLOPES

POSITIONS = 3
REAL_POSITIONS = 8


@dataclass(kw_only=True)
class Study:
    """What one run found."""

    people: int = 0
    hips: int = 0
    readings: list[Measured] = field(default_factory=list)
    space: list[Error] = field(default_factory=list)
    projected: list[Error] = field(default_factory=list)
    signs: list[SignChange] = field(default_factory=list)
    circles: list[CircleError] = field(default_factory=list)
    levels: list[LevelError] = field(default_factory=list)
    coverage: Coverage = field(default_factory=Coverage)
    heads: list[HeadOnFilm] = field(default_factory=list)
    edges: list[EdgeOnFilm] = field(default_factory=list)


def run_study(*, modeled: int, demonstration: bool = True, bones: Path | None = None) -> Study:
    """Build the people, read their films, err on them, and turn the pelvis."""
    study, generator = Study(), np.random.default_rng(SEED)
    model = read_shape_model()
    for who, spec, slopes in _everybody(modeled, demonstration=demonstration):
        person = build_person(model, spec)
        _enter(study, who, spec, person, slopes, generator)
    study.levels = list(level_errors(study.readings))
    study.coverage = noisy_coverage(study.readings)
    if bones is not None:
        positions = [Position(), *random_positions(generator, REAL_POSITIONS)]
        study.heads = list(heads_on_films(bones, positions))
        study.edges = list(edges_on_films(bones, positions))
    return study


def _everybody(
    modeled: int, *, demonstration: bool
) -> Iterator[tuple[str, PersonSpec, Mapping[Side, float]]]:
    for one in random_people(modeled):
        yield one.key, one.spec, SLOPES
    if demonstration:
        for person in DEMONSTRATION_PEOPLE:
            yield person.key, person.stages["first"], film_plan(person).scar_slopes_deg


def _enter(
    study: Study,
    who: str,
    spec: PersonSpec,
    person: Person,
    slopes: Mapping[Side, float],
    generator: np.random.Generator,
) -> None:
    positions = [Position(), *random_positions(generator, POSITIONS)]
    readings, space, projected = measure_person(who, person, positions, slopes=slopes)
    study.people += 1
    study.hips += len(Side)
    study.readings += readings
    study.space += space
    study.projected += projected
    study.signs += sign_changes(who, person)
    bumps = {
        side: max((bump.height_mm for bump in spec.hip(side).bumps), default=0.0) for side in Side
    }
    for one in readings:
        if one.reading.view is View.DUNN_45 and one.reading.position.is_neutral:
            study.circles += circle_errors(person, bumps, one.reading)
