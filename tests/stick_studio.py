"""The demonstration's studio with stick people before the camera: quick, else the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import cast

import numpy as np
import pytest

from hipwright.adapters.dicom import demonstration_studio
from hipwright.catalog.demonstration import Story
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.phantoms.ct_simulator import CtSetup, SimulatedVolume, simulate_ct
from hipwright.phantoms.demonstration import DemonstrationPerson
from hipwright.phantoms.demonstration_films import PlannedFilm, TakenFilm, film_plan
from hipwright.phantoms.demonstration_scans import TakenScan, scan_plan
from hipwright.phantoms.film_bodies import Skeleton
from hipwright.phantoms.film_simulator import FilmExtras, SimulatedFilm, simulate_film
from hipwright.phantoms.shape_model import ShapeModel
from hipwright.workflows.build_demonstration import Visit
from tests.unit.phantoms.stick_people import stick_skeleton

COLUMNS, ROWS, PIXEL_MM = 150, 125, 2.8


@cache
def _skeleton() -> Skeleton:
    return stick_skeleton()


_TAKEN: dict[int, SimulatedFilm] = {}


def _stick_film(planned: PlannedFilm) -> SimulatedFilm:
    if planned.seed not in _TAKEN:  # no two planned films share a seed
        setup = replace(planned.setup, columns=COLUMNS, rows=ROWS, pixel_mm=PIXEL_MM)
        extras = FilmExtras(inverted=planned.extras.inverted)
        random = np.random.default_rng(planned.seed)
        _TAKEN[planned.seed] = simulate_film(_skeleton(), setup, random, extras=extras)
    return _TAKEN[planned.seed]


def _truth(person: DemonstrationPerson, planned: PlannedFilm) -> LandmarkSet:
    turn = np.linspace(0, 2 * np.pi, 9)[:-1]
    points, contours = [], []
    for side, column in ((Side.RIGHT, 40.0), (Side.LEFT, 110.0)):
        around = np.column_stack([column + 9 * np.cos(turn), 60 + 9 * np.sin(turn)])
        contours.append(PlacedContour(id="femoral_head", side=side, xy_px=around))
        outward = -1 if side is Side.RIGHT else 1
        edge = {"x_px": column + outward * 5.0, "y_px": 50.0}
        points.append(PlacedPoint(id="sourcil_lateral_edge", side=side, **edge))
    return LandmarkSet(
        image=f"{person.key}.{planned.key}",
        observer="simulator:truth",
        points=tuple(points),
        contours=tuple(contours),
    )


def stick_films(
    person: DemonstrationPerson, stages: Mapping[str, object], *, thinned: int = 1
) -> Iterator[TakenFilm]:
    """Every planned film, of stick people."""
    del thinned
    for planned in film_plan(person).films:
        assert planned.stage in stages
        film = _stick_film(planned)
        yield TakenFilm(planned=planned, film=film, truth=_truth(person, planned))


def stick_scans(person: DemonstrationPerson, built: object) -> Iterator[TakenScan]:
    """Every planned scan, of stick people, coarse and low."""
    del built
    for planned in scan_plan(person):
        low = planned.setup.from_mm
        setup = CtSetup(
            columns=48, rows=34, pixel_mm=6.4, slice_mm=8.0, from_mm=low, to_mm=low + 80.0
        )
        yield TakenScan(planned=planned, volume=_stick_volume_at(setup))


def _stick_volume_at(setup: CtSetup) -> SimulatedVolume:
    key = setup.from_mm
    if key not in _SCANNED:
        _SCANNED[key] = simulate_ct(_skeleton(), setup, np.random.default_rng(5))
    return _SCANNED[key]


_SCANNED: dict[float, SimulatedVolume] = {}


def put_up_stick_people(patch: pytest.MonkeyPatch) -> None:
    """Let the studio find stick people in place of the shape model's."""
    patch.setattr(
        demonstration_studio, "build_person", lambda _model, spec, *, whole_femora=False: spec
    )
    patch.setattr(demonstration_studio, "demonstration_films", stick_films)
    patch.setattr(demonstration_studio, "demonstration_scans", stick_scans)


class StickStudio:
    """Takes stick people's films in this process (the port ``Studio``)."""

    def __init__(self, *, breaks_before: str = "") -> None:
        self.breaks_before = breaks_before
        self.asked: list[str] = []

    def take(self, plots: Sequence[Story], folder: Path) -> Iterator[tuple[Story, Visit]]:
        for story in plots:
            if story.key == self.breaks_before:
                raise KeyboardInterrupt
            self.asked.append(story.key)
            yield story, demonstration_studio.take_visit(story, folder, _no_model, 1)


def _no_model() -> ShapeModel:
    """Stick people need no shape model."""
    return cast("ShapeModel", None)
