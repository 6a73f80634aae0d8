"""Every measurement that the bones of one hip allow, and why the others are not."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import EntryKind, MeasurementDefinition
from hipwright.domain.evidence import Estimate, Provenance
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.study import View
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.classes import classify, interval
from hipwright.engines.measurement.space_rise import freed_of_rise
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS

Floats = NDArray[np.float64]

FEWEST_DEFINED = 0.95
"""Below this share of draws on which the construction exists, the interval is said to be
incomplete (judgment)."""

ANTERIOR_PELVIC_PLANE = "anterior pelvic plane upright"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacePapers:
    """What every number of one hip's bones has in common.

    Parameters
    ----------
    catalog
        The shelf to measure by.
    border
        Whose hip, and the way home from its canonical pose.
    image, observer
        On which scan, by whom (an algorithm's name and version, or the reader who moved
        landmarks).
    view
        CT, or MR where the bones came from one.
    inputs_sha256
        Digest of surfaces and landmarks, so a number can be made again.
    software, sex
        For the provenance; for the ranges.
    baseline
        Which pose of the pelvis the values belong to.
    warning
        What the quality of the bones asks to say beside every value.
    """

    catalog: Catalog
    border: HipBorder
    image: str
    observer: str
    inputs_sha256: str
    software: str
    view: View = View.CT
    sex: str | None = None
    baseline: str = ANTERIOR_PELVIC_PLANE
    warning: str = ""


def measure_in_space(
    drawn: HipInSpace,
    papers: SpacePapers,
    *,
    only: Collection[str] | None = None,
    tilting: bool = False,
) -> tuple[Finding, ...]:
    """Measure one hip from its survey.

    Parameters
    ----------
    drawn
        The survey with one leading axis: index 0 as surveyed, then draws of its doubt.
    papers
        What the numbers are to say of themselves.
    only
        Ids to measure; all measurements in space by default.
    tilting
        Only those that change when the pelvis tilts: for a further pose of the pelvis.

    Returns
    -------
    tuple
        A :class:`Measurement` or :class:`NotMeasured` for each entry, and for each clock
        hour of a series.
    """
    found: list[Finding] = []
    for entry in papers.catalog.measurements.values():
        if not entry.is_in_space or entry.kind is EntryKind.GRADED:
            continue
        if (only is not None and entry.id not in only) or (
            tilting and not entry.tilts_with_pelvis
        ):
            continue
        found += _measured(entry, drawn, papers)
    return tuple(found)


def _measured(
    entry: MeasurementDefinition, drawn: HipInSpace, papers: SpacePapers
) -> Iterator[Finding]:
    missing = _absent_bones(entry, drawn, papers.catalog)
    if missing:
        reason = f"no model of the {' and the '.join(missing)}"
        yield _not(entry, papers, reason)
        return
    values = SPACE_CONSTRUCTIONS[entry.id](drawn)
    if not entry.hours:
        yield _finding(entry, values, papers, None)
        return
    for column, hour in enumerate(entry.hours):
        yield _finding(entry, values[:, column], papers, hour)


def _absent_bones(
    entry: MeasurementDefinition, drawn: HipInSpace, catalog: Catalog
) -> tuple[str, ...]:
    bones = {catalog.bone_feature(name).bone for name in entry.features}
    absent: list[str] = []
    if drawn.socket is None and bones & {"hip_bone", "both"}:
        absent.append("hip bone")
    if drawn.femur is None and bones & {"femur", "tibia", "both"}:
        absent.append("femur")
    return tuple(absent)


def _not(
    entry: MeasurementDefinition, papers: SpacePapers, reason: str, hour: float | None = None
) -> NotMeasured:
    return NotMeasured(
        definition=entry.id, name=entry.name, reason=reason, side=papers.border.side, hour=hour
    )


def _finding(
    entry: MeasurementDefinition, values: Floats, papers: SpacePapers, hour: float | None
) -> Finding:
    if not np.isfinite(values[0]):
        return _not(entry, papers, entry.undefined_when, hour)
    notes: list[str] = []
    defined = float(np.isfinite(values).mean())
    if defined < FEWEST_DEFINED:
        notes.append(f"defined in only {100 * defined:.0f} % of the draws")
    if entry.noise_raises is not None:
        values = freed_of_rise(values, entry.noise_raises)
    estimate = interval(values)
    if entry.noise_raises is not None:
        estimate = replace(estimate, low=max(estimate.low, 0.0))
    if not estimate.low <= estimate.value <= estimate.high:
        # A least value is lowered by any noise that comes on top of the bone's own.
        estimate = _holding_its_value(estimate)
        if entry.noise_raises is None:
            notes.append("noise moves it one way only: the interval was widened to hold the value")
    return Measurement(
        definition=entry.id,
        name=entry.name,
        abbreviation=entry.abbreviation,
        unit=entry.unit,
        estimate=estimate,
        side=papers.border.side,
        view=papers.view,
        image=papers.image,
        observer=papers.observer,
        provenance=Provenance(
            method=entry.id,
            by=papers.observer,
            sources=entry.defined_by,
            inputs_sha256=papers.inputs_sha256,
            software=papers.software,
        ),
        reported_to=entry.reported_to,
        baseline=papers.baseline if entry.tilts_with_pelvis else "",
        classification=classify(
            values, estimate, entry, papers.view, papers.catalog, sex=papers.sex
        ),
        notes=tuple(notes),
        quality_warning=papers.warning,
        hour=hour,
    )


def _holding_its_value(estimate: Estimate) -> Estimate:
    return replace(
        estimate,
        low=min(estimate.low, estimate.value),
        high=max(estimate.high, estimate.value),
    )
