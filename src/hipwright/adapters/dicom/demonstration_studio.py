"""Takes films and scans of the demonstration people, on all cores, and writes them as DICOM."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date, time
from pathlib import Path

from hipwright.adapters.dicom.write_ct import ct_datasets
from hipwright.adapters.dicom.write_film import FilmObject, described, film_dataset
from hipwright.adapters.dicom.write_simulated import InventedStudy, SeriesPlace, repeatable_uids
from hipwright.catalog.demonstration import Story
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE, DemonstrationPerson
from hipwright.phantoms.demonstration_films import AFTER, TakenFilm, demonstration_films
from hipwright.phantoms.demonstration_scans import (
    SCANNED_STAGE,
    TakenScan,
    demonstration_scans,
    scan_plan,
)
from hipwright.phantoms.people import Person, build_person
from hipwright.phantoms.shape_model import ShapeModel
from hipwright.workflows.build_demonstration import TakenFile, TakenSeries, Visit

STORED_STEP_HU = 4
"""Stored steps of the scans: a fifth of their noise, so nothing is lost and they pack well."""

ModelReader = Callable[[], ShapeModel]

MOST_WORKERS = 4
"""Each worker holds a few hundred megabytes."""


class ProcessStudio:
    """Takes films and scans in worker processes (the port ``Studio``).

    Parameters
    ----------
    read_model
        Reads the shape model; a module's own function, so that workers find it.
    thinned
        Takes every film with that many times coarser pixels (for tests).
    """

    def __init__(self, read_model: ModelReader, *, thinned: int = 1) -> None:
        self.read_model = read_model
        self.thinned = thinned

    def take(self, plots: Sequence[Story], folder: Path) -> Iterator[tuple[Story, Visit]]:
        """Write each person's visit, longest work first; give them in the stories' order."""
        if not plots:
            return
        workers = max(1, min(MOST_WORKERS, os.cpu_count() or 1, len(plots)))
        by_work = sorted(plots, key=_work, reverse=True)
        spawn = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, mp_context=spawn) as pool:
            jobs = {
                story.key: pool.submit(take_visit, story, folder, self.read_model, self.thinned)
                for story in by_work
            }
            for story in plots:
                yield story, jobs[story.key].result()


def _person(story: Story) -> DemonstrationPerson:
    return next(person for person in DEMONSTRATION_PEOPLE if person.key == story.key)


def _work(story: Story) -> int:
    """How much there is to do, roughly: anatomies to build, and scans."""
    person = _person(story)
    return len(person.stages) + len(scan_plan(person))


def take_visit(story: Story, folder: Path, read_model: ModelReader, thinned: int) -> Visit:
    """Build one person, take all films and scans and write them; runs in a worker."""
    person = _person(story)
    model = read_model()
    stages: Mapping[str, Person] = {
        stage: build_person(model, spec) for stage, spec in person.stages.items()
    }
    studies = {
        False: _study(story, story.filmed, "first"),
        True: _study(story, story.filmed_after_operation, "after"),
    }
    own = folder / story.key
    own.mkdir()
    films = [
        _write(taken, studies[taken.planned.stage == AFTER], story, number, own)
        for number, taken in enumerate(
            demonstration_films(person, stages, thinned=thinned), start=1
        )
    ]
    return Visit(films=tuple(films), scans=tuple(_scans(story, person, stages, model, own)))


def _scans(
    story: Story,
    person: DemonstrationPerson,
    stages: Mapping[str, Person],
    model: ShapeModel,
    folder: Path,
) -> Iterator[TakenSeries]:
    plan = scan_plan(person)
    if not plan:
        return
    built = stages[SCANNED_STAGE]
    if any(planned.whole_femora for planned in plan):
        built = build_person(model, person.stages[SCANNED_STAGE], whole_femora=True)
    study = _study(story, story.filmed, "ct", "CT of the hips")
    for number, taken in enumerate(demonstration_scans(person, built), start=1):
        yield _write_scan(taken, study, story, number, folder)


def _write_scan(
    taken: TakenScan, study: InventedStudy, story: Story, number: int, folder: Path
) -> TakenSeries:
    planned = taken.planned
    uids = repeatable_uids(f"demonstration/{story.key}/{planned.key}")
    slices = ct_datasets(
        taken.volume,
        study,
        uids,
        series_number=number,
        description=planned.description,
        step_hu=STORED_STEP_HU,
        packed=True,
    )
    own = folder / planned.key
    own.mkdir()
    first = ""
    for index, dataset in enumerate(slices):
        first = first or str(dataset.SOPInstanceUID)
        dataset.save_as(own / f"{index:04d}.dcm", enforce_file_format=True)
    return TakenSeries(folder=own, instance_uid=first)


def _study(
    story: Story, day: date, occasion: str, description: str = "Hip films"
) -> InventedStudy:
    uids = repeatable_uids(f"demonstration/{story.key}/{occasion}")
    return InventedStudy(
        patient_id=story.patient_number,
        patient_name=story.name,
        birth_date=story.born,
        sex=story.sex,
        study_uid=next(uids),
        frame_uid=next(uids),
        day=day,
        hour=time(9, 30),
        accession=f"{story.patient_number}-{occasion}"[:16],
        description=description,
    )


def _write(
    taken: TakenFilm, study: InventedStudy, story: Story, number: int, folder: Path
) -> TakenFile:
    uids = repeatable_uids(f"demonstration/{story.key}/{taken.planned.key}")
    place = SeriesPlace(
        series_uid=next(uids),
        instance_uid=next(uids),
        series_number=number,
        description=described(taken.film),
    )
    kind = FilmObject.CR if taken.planned.as_cr else FilmObject.DX_FOR_PRESENTATION
    path = folder / f"{taken.planned.key}.dcm"
    film_dataset(taken.film, study, place, kind).save_as(path, enforce_file_format=True)
    return TakenFile(
        path=path,
        instance_uid=str(place.instance_uid),
        truth=taken.truth,
        phase=_phase(story, taken),
    )


def _phase(story: Story, taken: TakenFilm) -> str:
    if AFTER not in _person(story).stages:
        return ""
    return "after surgery" if taken.planned.stage == AFTER else "before surgery"
