"""The films of the six demonstration people: how each is taken, and what is true of it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import Posture
from hipwright.phantoms.demonstration import (
    DANCER,
    HANDBALL_KEEPER,
    HILL_WALKER,
    MOUNTAIN_RESCUER,
    ORCHARD_KEEPER,
    ROWER,
    DemonstrationPerson,
)
from hipwright.phantoms.film_appearance import FilmStyle
from hipwright.phantoms.film_people import DEFAULT_SCARS, skeleton_of
from hipwright.phantoms.film_setup import FilmSetup, dunn_45, false_profile, pelvis_ap
from hipwright.phantoms.film_simulator import FilmExtras, SimulatedFilm, simulate_film
from hipwright.phantoms.film_truth import film_landmarks
from hipwright.phantoms.people import Person
from hipwright.phantoms.soft_tissue import Build

FIRST, AFTER = "first", "after_operation"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedFilm:
    """One film of a demonstration person.

    Parameters
    ----------
    key
        Unique within the person, such as ``"ap"`` or ``"after_dunn"``.
    stage
        Which of the person's anatomies it shows.
    setup, style, extras
        How it is taken and rendered.
    seed
        Of soft tissue, grain and noise.
    as_cr
        Written as a CR object rather than DX.
    """

    key: str
    setup: FilmSetup
    seed: int
    stage: str = FIRST
    style: FilmStyle = field(default_factory=FilmStyle)
    extras: FilmExtras = field(default_factory=FilmExtras)
    as_cr: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmPlan:
    """All films of one person, and what does not change between them.

    ``worn`` names the sides with dense subchondral bone and cysts.
    """

    build: Build
    films: tuple[PlannedFilm, ...]
    scar_slopes_deg: Mapping[Side, float] = field(default_factory=lambda: DEFAULT_SCARS)
    worn: tuple[Side, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenFilm:
    """A planned film, taken, with a perfect reading of it."""

    planned: PlannedFilm
    film: SimulatedFilm
    truth: LandmarkSet


_SLENDER = Build(
    hip_half_width_mm=172.0, waist_half_width_mm=132.0, depth_half_mm=96.0, thigh_radius_mm=76.0,
    fat_mm=15.0,
)  # fmt: skip
_ORDINARY = Build()
_STURDY = Build(
    hip_half_width_mm=188.0, waist_half_width_mm=172.0, depth_half_mm=118.0, thigh_radius_mm=86.0,
    fat_mm=22.0,
)  # fmt: skip
_ATHLETE = Build(
    hip_half_width_mm=180.0, waist_half_width_mm=150.0, depth_half_mm=108.0, thigh_radius_mm=86.0,
    fat_mm=11.0,
)  # fmt: skip

_SOFT_STYLE = FilmStyle(contrast=2.3, edge_gain=0.4, evenness=0.72)
_CRISP_STYLE = FilmStyle(contrast=2.9, edge_gain=0.7, grain=1.1)

_PLANS: Mapping[str, FilmPlan] = MappingProxyType(
    {
        ROWER.key: FilmPlan(
            build=_SLENDER,
            films=(
                PlannedFilm(
                    key="ap",
                    setup=pelvis_ap(tilt_deg=7.0, rotation_deg=0.8, roll_deg=0.4),
                    seed=1101,
                    extras=FilmExtras(ball=True),
                ),
                PlannedFilm(key="dunn", setup=dunn_45(Side.LEFT, tilt_deg=1.0), seed=1102),
                PlannedFilm(
                    key="false_profile", setup=false_profile(Side.LEFT, tilt_deg=1.0), seed=1103
                ),
            ),
        ),
        HILL_WALKER.key: FilmPlan(
            build=_ORDINARY,
            films=(
                PlannedFilm(
                    key="ap_standing",
                    setup=pelvis_ap(
                        posture=Posture.STANDING,
                        tilt_deg=-3.5,
                        rotation_deg=-1.0,
                        roll_deg=-0.8,
                        object_detector_mm=165.0,
                    ),
                    seed=1201,
                    style=_SOFT_STYLE,
                ),
                PlannedFilm(key="dunn", setup=dunn_45(Side.LEFT), seed=1202, style=_SOFT_STYLE),
                PlannedFilm(
                    key="false_profile",
                    setup=false_profile(Side.LEFT, rotation_deg=62.0),
                    seed=1203,
                    style=_SOFT_STYLE,
                ),
            ),
        ),
        DANCER.key: FilmPlan(
            build=_SLENDER,
            # slopes that bring the femoro-epiphyseal angle near its borderline on the right
            scar_slopes_deg=MappingProxyType({Side.LEFT: 13.0, Side.RIGHT: 9.0}),
            films=(
                PlannedFilm(
                    key="ap_standing",
                    setup=pelvis_ap(posture=Posture.STANDING, tilt_deg=4.0, roll_deg=0.6),
                    seed=1301,
                    style=_CRISP_STYLE,
                ),
                PlannedFilm(
                    key="false_profile",
                    setup=false_profile(Side.RIGHT, tilt_deg=4.0),
                    seed=1302,
                    style=_CRISP_STYLE,
                ),
                PlannedFilm(
                    key="dunn",
                    setup=dunn_45(Side.RIGHT, tilt_deg=2.0),
                    seed=1303,
                    style=_CRISP_STYLE,
                ),
            ),
        ),
        ORCHARD_KEEPER.key: FilmPlan(
            build=_STURDY,
            scar_slopes_deg=MappingProxyType({}),  # faded at his age
            worn=(Side.RIGHT,),
            films=(
                PlannedFilm(
                    key="ap",
                    setup=pelvis_ap(
                        columns=3000,
                        rows=2500,
                        pixel_mm=0.143,
                        tilt_deg=7.0,
                        rotation_deg=1.5,
                        object_detector_mm=180.0,
                    ),
                    seed=1401,
                    extras=FilmExtras(ball=True),
                ),
                PlannedFilm(
                    key="false_profile",
                    setup=false_profile(Side.RIGHT, object_detector_mm=170.0),
                    seed=1402,
                ),
                PlannedFilm(
                    key="dunn", setup=dunn_45(Side.RIGHT, object_detector_mm=175.0), seed=1403
                ),
            ),
        ),
        MOUNTAIN_RESCUER.key: FilmPlan(
            build=_ATHLETE,
            films=(
                PlannedFilm(
                    key="ap",
                    setup=pelvis_ap(tilt_deg=1.0, rotation_deg=-0.6, object_detector_mm=160.0),
                    seed=1501,
                    extras=FilmExtras(inverted=True),
                    as_cr=True,
                ),
                PlannedFilm(
                    key="dunn",
                    setup=dunn_45(Side.LEFT, object_detector_mm=160.0),
                    seed=1502,
                    extras=FilmExtras(inverted=True),
                    as_cr=True,
                ),
            ),
        ),
        HANDBALL_KEEPER.key: FilmPlan(
            build=_ATHLETE,
            films=(
                PlannedFilm(
                    key="ap",
                    setup=pelvis_ap(tilt_deg=7.0, roll_deg=-0.5),
                    seed=1601,
                    style=_CRISP_STYLE,
                    extras=FilmExtras(ball=True),
                ),
                PlannedFilm(key="dunn", setup=dunn_45(Side.RIGHT), seed=1602, style=_CRISP_STYLE),
                PlannedFilm(
                    key="after_ap",
                    stage=AFTER,
                    setup=pelvis_ap(tilt_deg=6.5, rotation_deg=0.7, roll_deg=0.3),
                    seed=1603,
                    style=_CRISP_STYLE,
                ),
                PlannedFilm(
                    key="after_dunn",
                    stage=AFTER,
                    setup=dunn_45(Side.RIGHT, tilt_deg=-1.0),
                    seed=1604,
                    style=_CRISP_STYLE,
                ),
            ),
        ),
    }
)


def film_plan(person: DemonstrationPerson) -> FilmPlan:
    """Give all films planned for a demonstration person.

    Raises
    ------
    KeyError
        No films are planned for that key.
    """
    return _PLANS[person.key]


def demonstration_films(
    person: DemonstrationPerson, stages: Mapping[str, Person], *, thinned: int = 1
) -> Iterator[TakenFilm]:
    """Take all films of a demonstration person, one after the other.

    Parameters
    ----------
    person
        Whose films.
    stages
        The person built once for each of their stages.
    thinned
        Take every film with that many times coarser pixels (for tests).

    Returns
    -------
    Iterator of TakenFilm
        In the order of the plan. The truth's image id is person and film key.
    """
    plan = film_plan(person)
    for planned in plan.films:
        built = stages[planned.stage]
        setup = replace(
            planned.setup,
            columns=planned.setup.columns // thinned,
            rows=planned.setup.rows // thinned,
            pixel_mm=planned.setup.pixel_mm * thinned,
        )
        film = simulate_film(
            skeleton_of(built, scar_slopes_deg=plan.scar_slopes_deg, worn=plan.worn),
            setup,
            np.random.default_rng(planned.seed),
            build=plan.build,
            style=planned.style,
            extras=planned.extras,
        )
        truth = film_landmarks(
            built,
            film,
            image=f"{person.key}.{planned.key}",
            scar_slopes_deg=plan.scar_slopes_deg,
        )
        yield TakenFilm(planned=planned, film=film, truth=truth)
