"""Films of people as a perfect reader reads them, in many positions of the pelvis.

The readings are geometry: what is known in space is projected, and outlines are traced as sharp
as the bones are. Nobody looked at a picture, so none is exposed.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View
from hipwright.phantoms.film_bodies import Skeleton
from hipwright.phantoms.film_people import DEFAULT_SCARS, skeleton_of
from hipwright.phantoms.film_setup import FilmSetup, Scene, dunn_45, false_profile, pelvis_ap
from hipwright.phantoms.film_simulator import SimulatedFilm
from hipwright.phantoms.film_truth import film_landmarks
from hipwright.phantoms.people import Person

FAR_MM = 1e6
"""A source so far away that its rays are parallel."""

THINNED = 4
"""Pixels this many times coarser than a film's: a perfect reading does not see them."""

SCALE_SD = 0.02
"""Doubt of the scale that a calibration ball leaves (judgment, as in the golden tests)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """How the pelvis lies, degrees: tilt forward, rotation to the left, roll on the film."""

    tilt_deg: float = 0.0
    rotation_deg: float = 0.0
    roll_deg: float = 0.0

    @property
    def is_neutral(self) -> bool:
        return self == Position()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PerfectReading:
    """A film and its perfect reading; ``simulated`` knows the geometry."""

    who: str
    view: View
    side: Side | None
    position: Position
    film: Film
    landmarks: LandmarkSet
    simulated: SimulatedFilm

    @property
    def sides(self) -> tuple[Side, ...]:
        """The hips that can be read."""
        return tuple(Side) if self.side is None else (self.side,)


def random_positions(
    generator: np.random.Generator, count: int, most: float = 8.0
) -> list[Position]:
    """Positions with tilt, rotation and roll uniform within ``most`` degrees."""
    return [
        Position(tilt_deg=float(t), rotation_deg=float(r), roll_deg=float(o))
        for t, r, o in generator.uniform(-most, most, (count, 3))
    ]


def setup_of(
    view: View, side: Side | None, position: Position, *, parallel: bool = False
) -> FilmSetup:
    """A film of a view in a position; roll counts on an AP film only, where it can be leveled."""
    changes: dict[str, Any] = {"tilt_deg": position.tilt_deg}
    if view is View.PELVIS_AP:
        setup = pelvis_ap(roll_deg=position.roll_deg, rotation_deg=position.rotation_deg)
    elif view is View.DUNN_45:
        assert side is not None
        setup = dunn_45(side, rotation_deg=position.rotation_deg)
    else:
        assert side is not None
        usual = false_profile(side)
        setup = replace(usual, rotation_deg=usual.rotation_deg + position.rotation_deg)
    if parallel:
        changes |= {"source_detector_mm": FAR_MM, "object_detector_mm": 0.0}
    return replace(
        setup,
        columns=setup.columns // THINNED,
        rows=setup.rows // THINNED,
        pixel_mm=setup.pixel_mm * THINNED,
        **changes,
    )


def unexposed(skeleton: Skeleton, setup: FilmSetup) -> SimulatedFilm:
    """The geometry of a film without its picture."""
    scene = Scene.of(skeleton, setup)
    return SimulatedFilm(
        pixels=np.zeros((setup.rows, setup.columns), np.uint16),
        inverted=False,
        setup=setup,
        beam=scene.beam,
        poses=scene.poses,
        marker=Side.RIGHT,
        subject_mm=setup.subject_mm(skeleton),
    )


def film_as_kept(simulated: SimulatedFilm, image: str, *, scale_sd: float = SCALE_SD) -> Film:
    """The film as the measuring sees it, calibrated in the plane of the hip."""
    setup = simulated.setup
    spacing = setup.pixel_mm / simulated.magnification
    turned = setup.view is View.FALSE_PROFILE
    return Film(
        image=image,
        view=setup.view,
        columns=setup.columns,
        rows=setup.rows,
        posture=setup.posture,
        calibration=Calibration(
            column_mm=spacing,
            row_mm=spacing,
            source=SpacingSource.MARKER,
            relative_sd=scale_sd,
            magnification=simulated.magnification,
        ),
        anterior_at_image_right=setup.side is Side.LEFT if turned else None,
    )


VIEWS: tuple[tuple[View, Side | None], ...] = (
    (View.PELVIS_AP, None),
    *((view, side) for view in (View.DUNN_45, View.FALSE_PROFILE) for side in Side),
)


def read_person(
    who: str,
    person: Person,
    position: Position,
    *,
    parallel: bool = False,
    views: tuple[tuple[View, Side | None], ...] = VIEWS,
    scar_slopes_deg: Mapping[Side, float] = DEFAULT_SCARS,
) -> Iterator[PerfectReading]:
    """All films of a person in one position, perfectly read."""
    skeleton = skeleton_of(person, scar_slopes_deg=scar_slopes_deg)
    for view, side in views:
        simulated = unexposed(skeleton, setup_of(view, side, position, parallel=parallel))
        image = f"{who}-{view.value}-{'both' if side is None else side.value}"
        yield PerfectReading(
            who=who,
            view=view,
            side=side,
            position=position,
            film=film_as_kept(simulated, image),
            landmarks=film_landmarks(
                person, simulated, image=image, scar_slopes_deg=scar_slopes_deg
            ),
            simulated=simulated,
        )
