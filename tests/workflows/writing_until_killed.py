"""A program that writes into a workspace and prints what is confirmed, until it is killed.

Reads lines ``FOLDER SEED`` from stdin; for each it forks a writer and prints ``pid N``, what
the writer confirms as JSON, and ``dead`` when the writer is gone.
"""

from __future__ import annotations

import json
import os
import random
import sys
from pathlib import Path

import alembic.command  # noqa: F401 - what the wiring imports late is paid for before the fork

import hipwright.adapters.identity.keeper
import hipwright.adapters.store.device
import hipwright.adapters.store.workspace_folder  # noqa: F401 - as above
from hipwright.domain.keeping import Identity
from hipwright.wiring import open_workspace
from tests.contract.kept_things import (
    a_case,
    a_film,
    a_person,
    a_study,
    some_landmarks,
)


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
            film = a_film(keeper, study, *contents)
            confirm("files", digests=film.files)
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
                keeper.add_image(film)
            confirm("case", code=case.code, image=film.id)
            for version in range(chance.randrange(4)):
                landmarks = some_landmarks(film, x_px=chance.random())
                keeper.save_reading(case.id, landmarks, expected_version=version)
                confirm(
                    "reading", image=film.id, version=version + 1, x_px=landmarks.points[0].x_px
                )


def main() -> None:
    """Fork a writer for each line: the imports are paid for once."""
    for line in sys.stdin:
        folder, seed = line.rsplit(" ", 1)
        writer = os.fork()
        if writer == 0:
            write_for_ever(Path(folder), int(seed))
            os._exit(1)
        confirm("pid", pid=writer)
        os.waitpid(writer, 0)
        confirm("dead")


if __name__ == "__main__":
    main()
