"""Hold every room to its share of covered lines and branches.

Reads the report of ``coverage json``. Compiled ``@njit`` bodies are left out by the
coverage settings in ``pyproject.toml``.
"""

import json
import sys
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FLOORS_PERCENT = {"domain": 95.0, "catalog": 95.0, "engines": 95.0}
FLOOR_ELSEWHERE_PERCENT = 85.0
PACKAGE = "hipwright"
WEAKEST_SHOWN = 12


@dataclass(slots=True, kw_only=True)
class Tally:
    """Lines and branches, counted together: how many there are, how many were reached."""

    there: int = 0
    reached: int = 0

    def add(self, summary: dict[str, Any]) -> None:
        """Count one file in."""
        self.there += summary["num_statements"] + summary.get("num_branches", 0)
        self.reached += summary["covered_lines"] + summary.get("covered_branches", 0)

    @property
    def percent(self) -> float:
        """Share reached; a room without statements has nothing left to reach."""
        return 100.0 * self.reached / self.there if self.there else 100.0


def room_of(file: str) -> str:
    """Room of a source file; a module at the front door is a room of its own."""
    parts = Path(file).parts
    inside = parts[parts.index(PACKAGE) + 1 :]
    return "front desk" if inside == ("__init__.py",) else Path(inside[0]).stem


def floor_of(room: str) -> float:
    """Share that a room has to keep."""
    return FLOORS_PERCENT.get(room, FLOOR_ELSEWHERE_PERCENT)


def tally_rooms(report: dict[str, Any]) -> dict[str, Tally]:
    """Count every room of a coverage report."""
    rooms: dict[str, Tally] = defaultdict(Tally)
    for file, facts in report["files"].items():
        rooms[room_of(file)].add(facts["summary"])
    return dict(rooms)


def weakest_files(report: dict[str, Any], rooms: set[str]) -> list[str]:
    """Lines that name the files of the given rooms with the most left to reach."""
    left: list[tuple[int, str]] = []
    for file, facts in report["files"].items():
        one = Tally()
        one.add(facts["summary"])
        if room_of(file) in rooms and one.there > one.reached:
            left.append(
                (one.there - one.reached, f"{Path(file).as_posix()} ({one.percent:.0f} %)")
            )
    return [
        f"{count:5d} unreached  {text}"
        for count, text in sorted(left, reverse=True)[:WEAKEST_SHOWN]
    ]


def main(report_file: str) -> int:
    """Print the table of rooms; return 1 where one is below its floor."""
    try:
        report = json.loads(Path(report_file).read_text(encoding="utf-8"))
    except OSError:
        print("Coverage: there is no report; the tests did not come to an end.")
        return 1
    rooms = tally_rooms(report)
    low = {room for room, tally in rooms.items() if tally.percent < floor_of(room)}
    print("\nCoverage of lines and branches:")
    for room, tally in sorted(rooms.items()):
        verdict = "BELOW" if room in low else "keeps"
        print(f"  {room:<12}{tally.percent:6.1f} %  {verdict} its floor of {floor_of(room):.0f} %")
    for line in weakest_files(report, low):
        print(line)
    return 1 if low or not rooms else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
