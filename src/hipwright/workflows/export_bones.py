"""Bone models, landmarks and measurements as files for other programs, frame and unit said."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum

from hipwright.domain.anatomy import Surface
from hipwright.domain.keeping import Case
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.workflows.bone_ports import BoneFiles
from hipwright.workflows.measure_bones import BonesMeasured, models_of
from hipwright.workflows.ports import WorkspaceKeeper

FRAME = "patient_lps of the scan: +x left, +y posterior, +z superior"


class ExportKind(Enum):
    """What can be exported."""

    STL = "stl"
    PLY = "ply"
    GLB = "glb"
    CSV = "csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshWriters:
    """Writes surfaces: one a file, or all in one."""

    stl: Callable[[str, Surface], bytes]
    ply: Callable[[str, Surface, tuple[str, ...]], bytes]
    glb: Callable[[Mapping[str, Surface], Mapping[str, str]], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportOrder:
    """What is to be exported, and what every file is to say."""

    case: Case
    kind: ExportKind
    caution: str
    software: str


def export_bones(
    keeper: WorkspaceKeeper,
    files: BoneFiles,
    measured: BonesMeasured,
    order: ExportOrder,
    writers: MeshWriters,
) -> dict[str, bytes]:
    """Make the files, by name; ``README.txt`` tells unit, frame and caution.

    Names hold the case's code and the bone, never who it is.
    """
    made = (
        _tables(measured, order)
        if order.kind is ExportKind.CSV
        else _meshes(keeper, files, measured, order, writers)
    )
    return {**made, "README.txt": _readme(measured, order, sorted(made)).encode()}


def _meshes(
    keeper: WorkspaceKeeper,
    files: BoneFiles,
    measured: BonesMeasured,
    order: ExportOrder,
    writers: MeshWriters,
) -> dict[str, bytes]:
    surfaces = {
        f"{model.bone.value}_{model.part}" if model.part else model.bone.value: model.surface
        for model in models_of(keeper, files, measured.build)
    }
    code = order.case.code
    if order.kind is ExportKind.GLB:
        extras = {"caution": order.caution, "case": code, "software": order.software}
        return {f"{code}_bones.glb": writers.glb(surfaces, extras)}
    if order.kind is ExportKind.STL:
        return {f"{code}_{name}.stl": writers.stl(name, s) for name, s in surfaces.items()}
    told = (f"case {code}, bone models {measured.build.number}", order.caution)
    return {f"{code}_{name}.ply": writers.ply(name, s, told) for name, s in surfaces.items()}


def _tables(measured: BonesMeasured, order: ExportOrder) -> dict[str, bytes]:
    code = order.case.code
    return {
        f"{code}_measurements.csv": _measurements(measured, order).encode(),
        f"{code}_landmarks.csv": _landmarks(measured).encode(),
    }


_HEADINGS: tuple[str, ...] = (
    "case", "side", "id", "name", "hour", "value", "unit", "low", "high", "level", "class",
    "pelvis", "observer", "not_measured", "caution",
)  # fmt: skip


def _measurements(measured: BonesMeasured, order: ExportOrder) -> str:
    text = io.StringIO()
    table = csv.DictWriter(text, _HEADINGS)
    table.writeheader()
    for hip in measured.hips.values():
        for finding in (*hip.findings, *(f for found in hip.tilted.values() for f in found)):
            row = {
                "case": order.case.code,
                "side": hip.side.value,
                "id": finding.definition,
                "name": finding.name,
                "hour": "" if finding.hour is None else f"{finding.hour:g}",
                "caution": order.caution,
            }
            table.writerow({**row, **_values(finding)})
    return text.getvalue()


def _values(finding: Finding) -> dict[str, str]:
    if isinstance(finding, NotMeasured):
        return {"not_measured": finding.reason}
    return _measured_values(finding)


def _measured_values(found: Measurement) -> dict[str, str]:
    return {
        "value": repr(found.estimate.value),
        "unit": found.unit.value,
        "low": repr(found.estimate.low),
        "high": repr(found.estimate.high),
        "level": f"{found.estimate.level:g}",
        "class": "" if found.classification is None else found.classification.in_words(),
        "pelvis": found.baseline,
        "observer": found.observer,
    }


def _landmarks(measured: BonesMeasured) -> str:
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(
        ("id", "side", "x_left_mm", "y_posterior_mm", "z_superior_mm", "sd_mm", "moved")
    )
    for point in measured.landmarks:
        side = "" if point.side is None else point.side.value
        at = (repr(x) for x in point.at_mm)
        table.writerow((point.id, side, *at, f"{point.sd_mm:g}", int(point.moved)))
    return text.getvalue()


def _readme(measured: BonesMeasured, order: ExportOrder, names: list[str]) -> str:
    build = measured.build
    remarks = [f"- {r.severity.value}: {r.text}" for r in measured.remarks]
    return "\n".join(
        (
            f"Bones of case {order.case.code}, models {build.number}",
            "",
            f"Made {build.made_at:%Y-%m-%d} by {build.software}; exported by {order.software}.",
            "Unit: millimeter.",
            f"Frame: {FRAME}.",
            "GLB: the numbers are the same; the node above them scales by 0.001 and turns,",
            "because glTF counts in meters with +Y up.",
            "",
            "Files:",
            *(f"- {name}" for name in names),
            *(("", "What was noticed:", *remarks) if remarks else ()),
            "",
            order.caution,
            "",
        )
    )
