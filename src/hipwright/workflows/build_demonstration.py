"""Make the demonstration clinic: films and scans of six invented hips, taken in and read."""

from __future__ import annotations

import tempfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog, load
from hipwright.catalog.demonstration import Story, stories
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, GradedReading, Image
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.workflows.ports import Clock, IdentityKeeper, Keeper, Progress
from hipwright.workflows.read_study import Importer, Wishes
from hipwright.workflows.save_reading import save_reading

Floats = NDArray[np.float64]

READERS = ("human:demo-a", "human:demo-b")
"""Two invented readers."""

STEADINESS = 0.5
"""The invented readers' spread as a share of the catalog's default: careful readers (judgment)."""

REPEATED_VIEWS = (View.PELVIS_AP,)
"""Views that both invented readers read twice, so that agreement can be shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenFile:
    """One simulated film as a DICOM file, and a perfect reading of it.

    ``phase`` says in words when it was taken, where that matters.
    """

    path: Path
    instance_uid: str
    truth: LandmarkSet
    phase: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenSeries:
    """One simulated series of slices: a folder of DICOM files, and the UID of one of them."""

    folder: Path
    instance_uid: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Everything that was taken of one person."""

    films: tuple[TakenFile, ...]
    scans: tuple[TakenSeries, ...] = ()


class Studio(Protocol):
    """Where the films and scans of the demonstration are taken."""

    def take(self, plots: Sequence[Story], folder: Path) -> Iterable[tuple[Story, Visit]]:
        """Write each person's visit into a folder of their own, in the stories' order."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Clinic:
    """What the demonstration is made with."""

    keeper: Keeper
    identities: IdentityKeeper
    importer: Importer
    studio: Studio
    clock: Clock


def is_built(keeper: Keeper) -> bool:
    """Whether all demonstration hips are there and read."""
    return not list(_missing(keeper))


def build_demonstration(clinic: Clinic, progress: Progress) -> None:
    """Make what is missing of the demonstration clinic.

    Films and scans go through the same door as anybody's: simulated, written as DICOM,
    taken in without identity; two invented readers read the films. Bones are made from the
    scans when somebody first asks for them. An interrupted build goes on where it stopped.
    """
    wanted = list(_missing(clinic.keeper))
    progress("taking films and scans of invented hips", 0, len(wanted))
    with tempfile.TemporaryDirectory(prefix="hipwright-demonstration-") as name:
        taken = clinic.studio.take(wanted, Path(name))
        for done, (story, visit) in enumerate(taken, start=1):
            _take_in(clinic, story, visit)
            progress(f"{story.code} is in", done, len(wanted))


def _missing(keeper: Keeper) -> Iterator[Story]:
    for story in stories():
        try:
            case = keeper.case(story.code)
        except NotFoundError:
            yield story
            continue
        if not keeper.grades_of(case.id):  # the last thing that is saved
            yield story


def _take_in(clinic: Clinic, story: Story, visit: Visit) -> None:
    wishes = Wishes(
        case=story.code,
        sides=(Side(story.side),),
        summary=story.summary,
        invented=True,
        pixels_checked=True,
        by=READERS[0],
    )
    brought = [*(film.path for film in visit.films), *(scan.folder for scan in visit.scans)]
    clinic.importer.add(brought, wishes, progress=_quietly)
    case = clinic.keeper.case(story.code)
    images = {
        uid: image for image in clinic.keeper.images_of(case.person) for uid in image.source_uids
    }
    catalog = load()
    with clinic.keeper.transaction(by=READERS[0]):
        for scan in visit.scans:
            series = images[clinic.identities.remapped_uid(scan.instance_uid)]
            _confirmed(clinic.keeper, series, "")
        for file in visit.films:
            image = images[clinic.identities.remapped_uid(file.instance_uid)]
            image = _confirmed(clinic.keeper, image, file.phase)
            for reader, number in _readings(image.view):
                placed = _read_by(file.truth, image, reader, number, catalog)
                save_reading(clinic.keeper, case, image, placed)
        _grade(clinic, story, case)


def _quietly(what: str, done: int, total: int) -> None:
    del what, done, total


def _confirmed(keeper: Keeper, image: Image, phase: str) -> Image:
    """The image as its reader agrees with it."""
    agreed = replace(image, confirmed=True, phase=phase)
    return keeper.change_image(agreed, expected_version=image.version)


def _readings(view: View) -> Iterator[tuple[str, int]]:
    """Who reads a film how often; the first reader's first reading comes last, so it counts."""
    if view in REPEATED_VIEWS:
        yield READERS[1], 1
        yield READERS[1], 2
        yield READERS[0], 2
    yield READERS[0], 1


def _read_by(
    truth: LandmarkSet, image: Image, reader: str, number: int, catalog: Catalog
) -> LandmarkSet:
    """A perfect reading with the spread of a careful reader, the same each time it is made."""
    seed = zlib.crc32(f"{truth.image}/{reader}/{number}".encode())
    rng = np.random.Generator(np.random.PCG64(seed))
    scale = np.array([image.calibration.column_mm, image.calibration.row_mm])

    def off(landmark: str) -> Floats:
        spread = np.asarray(catalog.landmark(landmark).observer_sd_mm, dtype=np.float64)
        return STEADINESS * spread * rng.standard_normal(2) / scale

    def inside(xy: Floats) -> Floats:
        return np.clip(xy, 0, [image.columns - 1, image.rows - 1])

    points = tuple(
        replace(p, x_px=float(x), y_px=float(y))
        for p in truth.points
        for x, y in [inside(np.array([p.x_px, p.y_px]) + off(p.id))]
    )
    contours = tuple(replace(c, xy_px=inside(c.xy_px + off(c.id))) for c in truth.contours)
    return LandmarkSet(
        image=image.id, observer=reader, reading=number, points=points, contours=contours
    )


def _grade(clinic: Clinic, story: Story, case: Case) -> None:
    for definition, value in story.grades.items():
        clinic.keeper.save_grade(
            GradedReading(
                id=clinic.keeper.new_id(),
                case=case.id,
                image=None,
                definition=definition,
                value=value,
                details=dict(story.details.get(definition, {})),
                observer=READERS[0],
                saved_at=clinic.clock.now(),
            )
        )
