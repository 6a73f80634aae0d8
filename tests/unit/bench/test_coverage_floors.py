"""The floors that each room's coverage has to keep."""

import json
from pathlib import Path
from typing import Any

import pytest

from bench import coverage_floors


def facts(statements: int, covered: int, branches: int = 0, taken: int = 0) -> dict[str, Any]:
    return {
        "summary": {
            "num_statements": statements,
            "covered_lines": covered,
            "num_branches": branches,
            "covered_branches": taken,
        }
    }


def written(folder: Path, files: dict[str, Any]) -> str:
    report = folder / "coverage.json"
    report.write_text(json.dumps({"files": files}))
    return str(report)


def test_lines_and_branches_of_a_room_count_together() -> None:
    report = {
        "files": {
            "src/hipwright/engines/a.py": facts(80, 80, 20, 10),
            "src/hipwright/engines/measurement/b.py": facts(100, 100),
        }
    }
    assert coverage_floors.tally_rooms(report)["engines"].percent == pytest.approx(95.0)


def test_a_room_at_its_floor_passes_and_one_below_fails(tmp_path: Path) -> None:
    at_floor = {"src/hipwright/domain/a.py": facts(100, 95)}
    below = {"src/hipwright/domain/a.py": facts(100, 94)}
    assert coverage_floors.main(written(tmp_path, at_floor)) == 0
    assert coverage_floors.main(written(tmp_path, below)) == 1


def test_adapters_have_the_lower_floor(tmp_path: Path) -> None:
    files = {"src/hipwright/adapters/store/a.py": facts(100, 85)}
    assert coverage_floors.main(written(tmp_path, files)) == 0


def test_a_low_room_names_its_weakest_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {
        "src/hipwright/catalog/dark.py": facts(50, 10),
        "src/hipwright/catalog/light.py": facts(50, 50),
    }
    assert coverage_floors.main(written(tmp_path, files)) == 1
    told = capsys.readouterr().out
    assert "40 unreached  src/hipwright/catalog/dark.py" in told
    assert "light.py" not in told


def test_a_report_that_is_missing_or_empty_fails(tmp_path: Path) -> None:
    assert coverage_floors.main(str(tmp_path / "none.json")) == 1
    assert coverage_floors.main(written(tmp_path, {})) == 1


@pytest.mark.parametrize(
    ("file", "room"),
    [
        ("src/hipwright/__init__.py", "front desk"),
        ("src/hipwright/wiring.py", "wiring"),
        ("src/hipwright/apps/web/pages.py", "apps"),
    ],
)
def test_a_file_belongs_to_the_room_it_lies_in(file: str, room: str) -> None:
    assert coverage_floors.room_of(file) == room
