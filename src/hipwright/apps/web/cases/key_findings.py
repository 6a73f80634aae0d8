"""The few numbers that the list of cases shows, kept until a reading or a film changes."""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path

from hipwright import __version__
from hipwright.catalog import load
from hipwright.domain.keeping import Case
from hipwright.domain.measurement import Measurement
from hipwright.domain.study import VIEW_NAMES
from hipwright.workflows.list_cases import CaseLine
from hipwright.workflows.ports import Keeper

COLUMNS = ("lateral_center_edge_angle.sourcil", "alpha_angle.three_point")
"""What the list shows of a hip: one number of the socket, one of the femur."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFinding:
    """One measurement as it is written in the list."""

    definition: str
    value: str
    interval: str
    words: str
    view: str
    warning: str


class KeyFindings:
    """Findings by case, kept in a file for each beside the workspace's own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def kept(self, line: CaseLine) -> dict[str, KeyFinding] | None:
        """The findings of a case if they are still true, else ``None``."""
        if line.films == line.unread:
            return {}
        try:
            stored = json.loads(self._path(line.id).read_text("utf-8"))
            if stored["stamp"] != _stamp(line):
                return None
            return {row["definition"]: KeyFinding(**row) for row in stored["findings"]}
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def measure(self, keeper: Keeper, case: Case, line: CaseLine) -> dict[str, KeyFinding]:
        """Measure the case and keep what the list shows."""
        from hipwright.workflows.latest_findings import key_finding, latest_findings
        from hipwright.workflows.measure_hip import measure_case

        latest = latest_findings(measure_case(keeper, case), case.side)
        catalog = load()
        found: dict[str, KeyFinding] = {}
        for key in COLUMNS:
            if key not in catalog.measurements:
                continue
            views = [view.value for view in catalog.measurement(key).views]
            chosen = key_finding(latest, key, views)
            if chosen is not None:
                found[key] = _written(chosen.measurement)
        self._keep(line, found)
        return found

    def _keep(self, line: CaseLine, found: dict[str, KeyFinding]) -> None:
        path = self._path(line.id)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = path.with_suffix(f".{secrets.token_hex(4)}.part")
        rows = [asdict(finding) for finding in found.values()]
        part.write_text(json.dumps({"stamp": _stamp(line), "findings": rows}), "utf-8")
        part.replace(path)

    def _path(self, case: str) -> Path:
        return self._folder / f"{case}.json"


def _stamp(line: CaseLine) -> str:
    return hashlib.sha256(f"{__version__} {line.stamp}".encode()).hexdigest()


def _written(found: Measurement) -> KeyFinding:
    from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit

    return KeyFinding(
        definition=found.definition,
        value=value_with_unit(found),
        interval=interval_in_words(found),
        words="" if found.classification is None else found.classification.in_words(),
        view=VIEW_NAMES[found.view],
        warning=found.quality_warning,
    )
