"""A program that writes into a workspace and prints what is confirmed, until it is killed.

Reads orders as JSON lines from stdin; for each it forks a writer and prints its ``pid``, what the
writer confirms, and ``dead`` when the writer is gone, all as JSON lines.
"""

from __future__ import annotations

import json
import os
import random
import sys
from itertools import count
from pathlib import Path
from typing import Any

import alembic.command  # noqa: F401 - what the wiring imports late is paid for before the fork

import hipwright.adapters.identity.keeper
import hipwright.adapters.store.device
import hipwright.adapters.store.workspace_folder  # noqa: F401 - as above
from hipwright.domain.keeping import Identity
from hipwright.domain.side import Side
from hipwright.wiring import importer, open_workspace
from hipwright.workflows.read_study import Wishes
from tests.contract.kept_things import (
    a_case,
    a_film,
    a_person,
    a_study,
    some_landmarks,
)
from tests.dicom_makers import ct_slice, film, saved, silent

FILMS, SLICES = 2, 6
IMAGES = FILMS + 1


def confirm(what: str, **facts: object) -> None:
    """Say that something is kept: one write, so that a kill cannot split it."""
    os.write(1, (json.dumps({"what": what, **facts}) + "\n").encode())


def write_for_ever(folder: Path, seed: int) -> None:
    """Import people and save readings, one after the other."""
    chance = random.Random(seed)  # noqa: S311 - a test
    with open_workspace(folder, create=True) as opened:
        keeper = opened.keeper
        confirm("opened")
        while True:
            person = a_person(keeper)
            case, study = a_case(keeper, person), a_study(keeper, person)
            contents = [chance.randbytes(chance.randrange(10, 60_000)) for _ in range(3)]
            image = a_film(keeper, study, *contents)
            confirm("files", digests=image.files)
            number = f"planted-{person.id}"
            opened.identity.save(
                Identity(
                    person=person.id, name="Invented", numbers=(number,), birth_date=None, sex=None
                )
            )
            confirm("identity", person=person.id, number=number)
            with keeper.transaction():
                keeper.add_person(person)
                keeper.add_case(case)
                keeper.add_study(study)
                keeper.add_image(image)
            confirm("case", code=case.code, image=image.id)
            for version in range(chance.randrange(4)):
                landmarks = some_landmarks(image, x_px=chance.random())
                keeper.save_reading(case.id, landmarks, expected_version=version)
                confirm(
                    "reading", image=image.id, version=version + 1, x_px=landmarks.points[0].x_px
                )


def import_for_ever(folder: Path, seed: int) -> None:
    """Import one invented patient after the other: two films and a series of six slices."""
    with open_workspace(folder, create=True) as opened:
        confirm("opened")
        for number in count():
            patient = f"{seed}-{number}"
            source = a_dicom_folder(folder.parent / "arriving" / patient, patient)
            confirm("arriving", source=str(source), number=patient)
            importing = importer(opened)
            wishes = Wishes(sides=(Side.LEFT,))
            delivery = importing.look([source], wishes, progress=silent)
            report = importing.keep(delivery, wishes, progress=silent)
            assert len(report.images) == IMAGES
            confirm("imported", code=report.opened[0], number=patient)


def a_dicom_folder(folder: Path, patient: str) -> Path:
    """The images of one invented patient, with UIDs of their own."""
    root = f"1.2.826.0.1.3680043.10.998.{patient.replace('-', '.')}"
    for index in range(FILMS + SLICES):
        whose: dict[str, Any] = {
            "PatientID": patient,
            "PatientName": f"Invented^Patient {patient}",
            "StudyInstanceUID": root,
            "SeriesInstanceUID": f"{root}.{min(index, FILMS)}",
            "SOPInstanceUID": f"{root}.9.{index}",
        }
        image = film(**whose) if index < FILMS else ct_slice(index, 1.0 * index, **whose)
        saved(image, folder / f"{index}.dcm")
    return folder


WRITERS = {"save": write_for_ever, "import": import_for_ever}


def main() -> None:
    """Fork a writer for each order: Python's imports are paid for once."""
    for line in sys.stdin:
        order = json.loads(line)
        writer = os.fork()
        if writer == 0:
            WRITERS[order["do"]](Path(order["folder"]), order["seed"])
            os._exit(1)
        confirm("pid", pid=writer)
        os.waitpid(writer, 0)
        confirm("dead")


if __name__ == "__main__":
    main()
