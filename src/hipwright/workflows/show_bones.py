"""What bone models measure, told for a report."""

from __future__ import annotations

from collections.abc import Mapping

from hipwright.domain.anatomy import Remark, Severity
from hipwright.domain.keeping import Case
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, BuildOrigin
from hipwright.domain.measurement import Finding
from hipwright.domain.side import Side
from hipwright.engines.reporting.bone_report import ReportedBones
from hipwright.engines.reporting.numbers import written
from hipwright.workflows.bone_ports import BoneFiles
from hipwright.workflows.measure_bones import measure_bones
from hipwright.workflows.move_bone_landmarks import reading_by
from hipwright.workflows.ports import WorkspaceKeeper

TILT_STEP_DEG = 0.1


def bones_of_case(keeper: WorkspaceKeeper, files: BoneFiles, case: Case) -> ReportedBones | None:
    """Measure the newest bone models of a hip for its report, ``None`` where it has none."""
    build = next(iter(keeper.bone_builds_of(case.person)), None)
    if build is None:
        return None
    reading = reading_by(keeper, build, None)
    measured = measure_bones(keeper, files, build, reading=reading)
    return reported_bones(
        build,
        reading,
        case.side,
        {side: hip.findings for side, hip in measured.hips.items()},
        tilted=measured.hips[case.side].tilted,
        when=f"models of {build.made_at.date().isoformat()}",
        sex=keeper.person(case.person).sex,
    )


def reported_bones(
    build: BoneBuild,
    reading: BoneReading | None,
    side: Side,
    findings: Mapping[Side, tuple[Finding, ...]],
    *,
    tilted: Mapping[str, tuple[Finding, ...]],
    when: str,
    sex: str | None,
) -> ReportedBones:
    """Tell what was measured on the bones of one hip, and how they were made.

    Parameters
    ----------
    build, reading
        The models; what a reader moved and said, where somebody did.
    side
        The hip of the report.
    findings
        What was measured of either hip.
    tilted
        By ``standing`` and ``supine``, what becomes of the own hip's values there.
    when
        When the scan was taken, in words.
    sex
        By which the values were classed.
    """
    origin = "CT" if build.origin is BuildOrigin.CT else "meshes made elsewhere"
    told = {posture: _posture(posture, reading) for posture in tilted}
    return ReportedBones(
        title=f"Bones from {origin}, {when}" if when else f"Bones from {origin}",
        own_name=f"{side.value.capitalize()} hip",
        other_name=f"{side.opposite.value.capitalize()} hip",
        own=tuple(findings.get(side, ())),
        other=tuple(findings.get(side.opposite, ())),
        facts=tuple(_facts(build, reading)),
        refusals=_remarks(build, Severity.REFUSAL),
        warnings=_remarks(build, Severity.WARNING),
        notes=_remarks(build, Severity.NOTE),
        tilted={told[posture]: found for posture, found in tilted.items()},
        sex=sex,
    )


def _posture(posture: str, reading: BoneReading | None) -> str:
    tilt = None
    if reading is not None:
        given = {"standing": reading.standing_tilt_deg, "supine": reading.supine_tilt_deg}
        tilt = given.get(posture)
    return posture if tilt is None else f"{posture}, {tilt_in_words(tilt)}"


def tilt_in_words(tilt_deg: float) -> str:
    """A tilt of the pelvis: ``8.0° forward``, ``3.5° backward``, ``upright``.

    Examples
    --------
    >>> tilt_in_words(-3.52)
    '3.5° backward'
    """
    if abs(tilt_deg) < TILT_STEP_DEG / 2:
        return "upright"
    way = "forward" if tilt_deg > 0 else "backward"
    return f"{written(abs(tilt_deg), TILT_STEP_DEG)}° {way}"


def _facts(build: BoneBuild, reading: BoneReading | None) -> list[tuple[str, str]]:
    rows = [
        ("Models", f"number {build.number}, made {build.made_at.date().isoformat()}"),
        ("Made by", f"{build.by.partition(':')[2] or build.by}, {build.software}"),
    ]
    if reading is not None:
        reader = reading.observer.removeprefix("human:").upper()
        count = len(reading.moved.points)
        if count:
            moved = "1 landmark" if count == 1 else f"{count} landmarks"
            rows.append(("Moved by hand", f"{moved} by {reader}, version {reading.version}"))
        tilts = [
            f"{posture} {tilt_in_words(tilt)}"
            for posture, tilt in (
                ("standing", reading.standing_tilt_deg),
                ("supine", reading.supine_tilt_deg),
            )
            if tilt is not None
        ]
        if tilts:
            source = f" ({reading.tilt_source})" if reading.tilt_source else ""
            rows.append(("Tilt of the pelvis", ", ".join(tilts) + source))
    return rows


def _remarks(build: BoneBuild, severity: Severity) -> tuple[str, ...]:
    return tuple(_told(remark) for remark in build.remarks if remark.severity is severity)


def _told(remark: Remark) -> str:
    text = remark.told if remark.told.endswith(".") else f"{remark.told}."
    return text if remark.bone is None else f"{remark.bone.words}: {text}"
