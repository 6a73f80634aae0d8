"""kill -9 at any moment: what was confirmed is there, and nothing is half there."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bench.place import ROOT
from hipwright.domain.side import Side
from hipwright.wiring import check_up, collect_orphans, importer, open_workspace, places
from hipwright.workflows.keep_workspace import CheckState
from hipwright.workflows.read_study import Wishes
from tests.conftest import SEED
from tests.dicom_makers import silent
from tests.workflows.writing_until_killed import FILMS, SLICES

KILLS = 24
KILLS_WHILE_MAKING = 12
MOST_CONFIRMATIONS = 24
LONGEST_STEP_S = 0.03
LONGEST_IMPORT_S = 0.25
LONGEST_MAKING_S = 0.4

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has neither fork nor SIGKILL")


@pytest.fixture(scope="module")
def launcher() -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "tests.workflows.writing_until_killed"]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    ) as program:
        yield program
        assert program.stdin is not None
        program.stdin.close()


def write_and_kill(
    launcher: subprocess.Popen[str],
    folder: Path,
    *,
    do: str = "save",
    seed: int,
    life_s: float,
    confirmations: int = 1,
) -> list[dict[str, Any]]:
    """Kill a writer some time after it has confirmed so much; return all that it confirmed.

    The first thing that is confirmed is that it was born.
    """
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    launcher.stdin.write(json.dumps({"do": do, "folder": str(folder), "seed": seed}) + "\n")
    launcher.stdin.flush()
    confirmed: list[dict[str, Any]] = []
    writer = 0
    while (said := json.loads(launcher.stdout.readline()))["what"] != "dead":
        confirmed.append(said)
        writer = said.get("pid", writer)
        if len(confirmed) == confirmations:
            time.sleep(life_s)
            os.kill(writer, signal.SIGKILL)
    return confirmed


def assert_all_there(
    folder: Path, confirmed: list[dict[str, Any]], *, newest_people: int = 5
) -> None:
    with open_workspace(folder) as opened:
        keeper = opened.keeper
        for said in confirmed:
            match said["what"]:
                case "files":
                    assert all(keeper.get_file(digest) for digest in said["digests"])
                case "identity":
                    assert opened.identity.find(number=said["number"]) == said["person"]
                case "case":
                    case = keeper.case(said["code"])
                    assert [i.id for i in keeper.images_of(case.person)] == [said["image"]]
                case "reading":
                    history = keeper.reading_history(said["image"], "human:obs-1", 1)
                    reading = history[said["version"] - 1]
                    assert reading.landmarks.points[0].x_px == said["x_px"]
                case _:
                    pass
        for person in keeper.persons()[-newest_people:]:
            assert len(keeper.cases_of(person.id)) == 1
            assert len(keeper.studies_of(person.id)) == 1
            (film,) = keeper.images_of(person.id)
            assert all(keeper.get_file(digest) for digest in film.files)


def problems(folder: Path) -> list[str]:
    checks = check_up(places(folder), quick=False, progress=lambda *_: None)
    return [f"{c.about}: {c.told}" for c in checks if c.state is CheckState.PROBLEM]


def test_nothing_confirmed_is_lost_and_nothing_is_half_there_after_kill_9(
    launcher: subprocess.Popen[str], tmp_path: Path
) -> None:
    folder = tmp_path / "workspace"
    open_workspace(folder, create=True).close()
    chance = random.Random(SEED)  # noqa: S311 - a test
    confirmed: list[dict[str, Any]] = []
    for kill in range(KILLS):
        new = write_and_kill(
            launcher,
            folder,
            seed=SEED + kill,
            life_s=chance.uniform(0, LONGEST_STEP_S),
            confirmations=chance.randrange(2, MOST_CONFIRMATIONS),
        )
        assert_all_there(folder, new)
        confirmed += new
    assert problems(folder) == []
    kinds = [said["what"] for said in confirmed]
    assert min(kinds.count(kind) for kind in ("files", "identity", "case", "reading")) > KILLS
    with open_workspace(folder) as opened:
        collect_orphans(opened)
    assert_all_there(folder, confirmed, newest_people=len(confirmed))


def test_a_workspace_killed_while_it_is_made_can_be_made_again(
    launcher: subprocess.Popen[str], tmp_path: Path
) -> None:
    cut_off = 0
    for kill in range(KILLS_WHILE_MAKING):
        folder = tmp_path / f"workspace-{kill}"
        life_s = LONGEST_MAKING_S * kill / KILLS_WHILE_MAKING
        confirmed = write_and_kill(launcher, folder, seed=kill, life_s=life_s)
        cut_off += "opened" not in {said["what"] for said in confirmed}
        open_workspace(folder, create=True).close()
        assert_all_there(folder, confirmed)
        assert problems(folder) == []
    assert cut_off > 0


def test_an_import_killed_at_any_point_is_whole_or_absent_and_can_be_repeated(
    launcher: subprocess.Popen[str], tmp_path: Path
) -> None:
    folder = tmp_path / "workspace"
    open_workspace(folder, create=True).close()
    chance = random.Random(SEED)  # noqa: S311 - a test
    arriving: dict[str, Path] = {}
    imported: dict[str, str] = {}
    for kill in range(KILLS):
        confirmed = write_and_kill(
            launcher,
            folder,
            do="import",
            seed=SEED + kill,
            life_s=chance.uniform(0, LONGEST_IMPORT_S),
            confirmations=chance.randrange(2, 6),
        )
        arriving |= {s["number"]: Path(s["source"]) for s in confirmed if s["what"] == "arriving"}
        imported |= {s["number"]: s["code"] for s in confirmed if s["what"] == "imported"}
        assert_imports_are_whole(folder, imported)
    assert problems(folder) == []
    assert len(arriving) > len(imported) > KILLS / 4
    with open_workspace(folder) as opened:
        importing, wishes = importer(opened), Wishes(sides=(Side.LEFT,))
        for source in arriving.values():
            importing.keep(
                importing.look([source], wishes, progress=silent), wishes, progress=silent
            )
        assert len(opened.keeper.cases()) == len(arriving)
    assert_imports_are_whole(folder, dict.fromkeys(arriving, ""))
    assert problems(folder) == []


def assert_imports_are_whole(folder: Path, imported: dict[str, str]) -> None:
    """Every imported patient is there, and whoever is there is there with everything."""
    with open_workspace(folder) as opened:
        keeper = opened.keeper
        for number, code in imported.items():
            person = opened.identity.find(number=number)
            assert person is not None
            (case,) = keeper.cases_of(person)
            assert case.code.startswith(code)
        for person in keeper.persons():
            assert len(keeper.cases_of(person.id)) == 1
            images = keeper.images_of(person.id)
            assert sorted(len(image.files) for image in images) == [1] * FILMS + [SLICES]
            assert opened.identity.of(person.id) is not None
