"""People, cases, images and readings to keep: invented, small, all fields filled."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from hipwright.domain.keeping import (
    Case,
    GradedReading,
    Image,
    ImageKind,
    Laterality,
    Person,
    Study,
)
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, SpacingSource, View
from hipwright.workflows.ports import Keeper

OPENED = datetime(2026, 3, 14, 9, 26, 53, 589793, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Clinic:
    """One person with a left case, a study and a film, all kept."""

    person: Person
    case: Case
    study: Study
    film: Image


def a_person(keeper: Keeper, **changes: Any) -> Person:
    person = Person(
        id=keeper.new_id(), sex="female", birth_date_shifted=date(1991, 2, 28), invented=True
    )
    return replace(person, **changes)


def a_case(keeper: Keeper, person: Person, **changes: Any) -> Case:
    case = Case(
        id=keeper.new_id(),
        code=keeper.new_code(),
        person=person.id,
        side=Side.LEFT,
        summary="rower, groin pain on deep flexion",
        opened_at=OPENED,
        invented=True,
    )
    return replace(case, **changes)


def a_study(keeper: Keeper, person: Person, **changes: Any) -> Study:
    study = Study(
        id=keeper.new_id(),
        person=person.id,
        acquired_on=date(2019, 5, 6),
        label="Pelvis",
        source_uid=f"2.25.{abs(hash(keeper.new_id()))}",
    )
    return replace(study, **changes)


def a_film(keeper: Keeper, study: Study, *contents: bytes, **changes: Any) -> Image:
    """A film whose files are kept already."""
    files = tuple(keeper.put_file(content) for content in contents or (keeper.new_id().encode(),))
    image = Image(
        id=keeper.new_id(),
        study=study.id,
        person=study.person,
        kind=ImageKind.FILM,
        modality="DX",
        view=View.PELVIS_AP,
        laterality=Laterality.BOTH,
        posture=Posture.STANDING,
        calibration=Calibration(
            column_mm=0.143,
            row_mm=0.1430001,
            source=SpacingSource.MARKER,
            relative_sd=0.011,
            magnification=1.17,
            note="ball of 25 mm",
        ),
        columns=2500,
        rows=3000,
        files=files,
        acquired_on=date(2019, 5, 6),
        anterior_at_image_right=False,
        phase="before surgery",
        warnings=("side marker not found",),
        source_uids=tuple(f"2.25.{int(digest[:16], 16)}" for digest in files),
    )
    return replace(image, **changes)


def a_clinic(keeper: Keeper) -> Clinic:
    person = a_person(keeper)
    case, study = a_case(keeper, person), a_study(keeper, person)
    film = a_film(keeper, study)
    with keeper.transaction():
        keeper.add_person(person)
        keeper.add_case(case)
        keeper.add_study(study)
        keeper.add_image(film)
    return Clinic(person=person, case=case, study=study, film=film)


def some_landmarks(image: Image, *, x_px: float = 0.1 + 0.2, **changes: Any) -> LandmarkSet:
    landmarks = LandmarkSet(
        image=image.id,
        observer="human:obs-1",
        points=(
            PlacedPoint(id="teardrop", side=Side.LEFT, x_px=x_px, y_px=1204.5, sd_px=1.25),
            PlacedPoint(id="symphysis", side=None, x_px=1250.0, y_px=1 / 3),
        ),
        contours=(
            PlacedContour(
                id="head", side=Side.RIGHT, xy_px=np.array([[1.1, 2.2], [3.3, 4.4], [5.5, 1e-9]])
            ),
        ),
    )
    return replace(landmarks, **changes)


def a_grade(keeper: Keeper, clinic: Clinic, value: str, **changes: Any) -> GradedReading:
    grade = GradedReading(
        id=keeper.new_id(),
        case=clinic.case.id,
        image=clinic.film.id,
        definition="tonnis_grade",
        value=value,
        details={"width_mm": 1.75, "where": "superior"},
        observer="human:obs-1",
        saved_at=OPENED,
    )
    return replace(grade, **changes)
