"""A kept case whose films are analytic: every landmark placed, every truth known."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
from PIL import Image as Pillow

from hipwright.domain.keeping import Case, Identity, Image, ImageKind, Laterality, Person, Study
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import Posture
from hipwright.phantoms.analytic_film import (
    AnalyticFilm,
    FilmMaking,
    false_profile_film,
    lateral_film,
    pelvis_film,
)
from hipwright.phantoms.analytic_hip import AnalyticFemur, AnalyticHip
from hipwright.workflows.ports import IdentityKeeper, Keeper, Picture

SMALL = FilmMaking(column_mm=1.5, row_mm=1.5, columns=300, rows=260)
"""Coarse pixels: landmarks lie between them, so nothing is lost but the picture's size."""

HIP = AnalyticHip()
TRIMMED = AnalyticHip(femur=AnalyticFemur(neck_shaft_deg=133.0))
BEFORE, AFTER = date(2020, 1, 19), date(2020, 5, 11)
BORN_SHIFTED = date(1993, 5, 14)

NAME, NUMBER = "Planted Nameless", "PLANTED-314159"
BORN = date(1999, 9, 9)

ANALYTIC: dict[str, tuple[AnalyticFilm, date]] = {
    "ap": (pelvis_film(dict.fromkeys(Side, HIP), making=SMALL), BEFORE),
    "dunn": (lateral_film(Side.LEFT, HIP, making=SMALL), BEFORE),
    "false_profile": (false_profile_film(Side.LEFT, HIP, making=SMALL), BEFORE),
    "after_ap": (pelvis_film(dict.fromkeys(Side, TRIMMED), making=SMALL), AFTER),
}
GRAYS = {key: 1000 * number for number, key in enumerate(ANALYTIC, start=1)}


@dataclass(frozen=True, kw_only=True)
class KeptCase:
    """A person, a left case and its films by key."""

    person: Person
    case: Case
    images: dict[str, Image]


def gray_of(key: str) -> bytes:
    """Stands for a film's file: only its gray level."""
    return str(GRAYS[key]).encode()


def png_of(key: str) -> bytes:
    """A film's file as a small picture: a ramp that tells the films apart."""
    film, _ = ANALYTIC[key]
    ramp = np.linspace(0, 200, film.film.columns) + GRAYS[key] / 100
    buffer = io.BytesIO()
    levels = np.tile(ramp, (film.film.rows, 1)).astype(np.uint8)
    Pillow.fromarray(levels).save(buffer, "PNG")
    return buffer.getvalue()


class GrayDock:
    """Shows a kept film as one gray; the rest of the port ``Dock`` is not asked for."""

    def picture(self, content: bytes) -> Picture:
        pixels = np.full((SMALL.rows, SMALL.columns), int(content), np.uint16)
        return Picture(pixels=pixels, window_center=2048.0, window_width=4096.0)


def keep_case(
    keeper: Keeper,
    *films: str,
    identities: IdentityKeeper | None = None,
    content_of: Callable[[str], bytes] = gray_of,
    side: Side = Side.LEFT,
    invented: bool = False,
) -> KeptCase:
    """Keep a person with one case and these films, unread."""
    person = Person(
        id=keeper.new_id(), sex="F", birth_date_shifted=BORN_SHIFTED, invented=invented
    )
    case = Case(
        id=keeper.new_id(),
        code=keeper.new_code(),
        person=person.id,
        side=side,
        summary="rower",
        opened_at=datetime(2026, 1, 2, tzinfo=UTC),
        invented=invented,
    )
    keeper.add_person(person)
    keeper.add_case(case)
    if identities is not None:
        identities.save(
            Identity(person=person.id, name=NAME, numbers=(NUMBER,), birth_date=BORN, sex="F")
        )
    return KeptCase(
        person=person,
        case=case,
        images={key: _film(keeper, person, key, content_of(key)) for key in films},
    )


def _film(keeper: Keeper, person: Person, key: str, content: bytes) -> Image:
    made, day = ANALYTIC[key]
    study = Study(id=keeper.new_id(), person=person.id, acquired_on=day, label="Hip films")
    keeper.add_study(study)
    film = made.film
    image = Image(
        id=keeper.new_id(),
        study=study.id,
        person=person.id,
        kind=ImageKind.FILM,
        modality="DX",
        view=film.view,
        laterality=Laterality.BOTH if film.view.shows_both_hips else Laterality.LEFT,
        posture=Posture.SUPINE,
        calibration=film.calibration,
        columns=film.columns,
        rows=film.rows,
        files=(keeper.put_file(content),),
        acquired_on=day,
        anterior_at_image_right=film.anterior_at_image_right,
        warnings=(f"warning of {key}",),
    )
    keeper.add_image(image)
    return image


def perfect_reading(
    kept: KeptCase, key: str, *, observer: str = "human:ab", reading: int = 1
) -> LandmarkSet:
    """The landmarks where a perfect reader puts them, on the kept film."""
    made, _ = ANALYTIC[key]
    return replace(made.landmarks, image=kept.images[key].id, observer=observer, reading=reading)
