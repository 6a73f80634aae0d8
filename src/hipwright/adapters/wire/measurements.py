"""Measurements as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE, Ratio, WireModel
from hipwright.domain.measurement import Classification, Finding, Measurement, NotMeasured


class WireShare(WireModel):
    """The share of draws in one class."""

    name: str
    share: Ratio


class WireReference(WireModel):
    """A source and how it was seen."""

    id: str
    text: str
    identifier: str
    seen: str


class WireClass(WireModel):
    """The class by one published scheme, with its shares where the interval straddles it."""

    name: str
    in_words: str
    shares: list[WireShare]
    scheme: str
    variant: str
    reference: WireReference
    settles: str | None = None


class WireMeasurement(WireModel):
    """One number with its papers."""

    id: str
    name: str
    abbreviation: str
    value: float
    unit: str
    low: float
    high: float
    level: float
    spread: str
    view: str
    side: str | None = None
    hour: float | None = None
    method: str
    image: str
    observer: str
    baseline: str | None = None
    class_: WireClass | None = None
    references: list[str]
    reported_to: float
    notes: list[str]
    quality_warning: str | None = None
    inputs_sha256: str
    software: str

    model_config = WireModel.model_config | {
        "alias_generator": lambda name: name.rstrip("_"),
        "populate_by_name": True,
    }


class WireNotMeasured(WireModel):
    """Why a measurement is not there."""

    id: str
    name: str
    side: str | None = None
    hour: float | None = None
    not_measured: str
    missing: list[str] = Field(default_factory=list[str])


class MeasurementsDocument(WireModel):
    """All measurements of a case."""

    format: Literal["hipwright.measurements"] = "hipwright.measurements"
    version: Literal[1] = 1
    case: str | None = None
    software: str = SOFTWARE
    caution: str = CAUTION
    items: list[WireMeasurement | WireNotMeasured]


def measurements_document(findings: Iterable[Finding], case: str | None) -> MeasurementsDocument:
    """The findings of a case as one document."""
    return MeasurementsDocument(case=case, items=[finding_to_wire(f) for f in findings])


def finding_to_wire(finding: Finding) -> WireMeasurement | WireNotMeasured:
    """One finding."""
    match finding:
        case Measurement():
            return _measurement(finding)
        case NotMeasured():
            return WireNotMeasured(
                id=finding.definition,
                name=finding.name,
                side=None if finding.side is None else finding.side.value,
                hour=finding.hour,
                not_measured=finding.reason,
                missing=list(finding.missing),
            )


def _measurement(found: Measurement) -> WireMeasurement:
    estimate = found.estimate
    return WireMeasurement(
        id=found.definition,
        name=found.name,
        abbreviation=found.abbreviation,
        value=estimate.value,
        unit=found.unit.value,
        low=estimate.low,
        high=estimate.high,
        level=estimate.level,
        spread=estimate.spread.value,
        view=found.view.value,
        side=None if found.side is None else found.side.value,
        hour=found.hour,
        method=found.provenance.method,
        image=found.image,
        observer=found.observer,
        baseline=found.baseline or None,
        class_=None if found.classification is None else _class(found.classification),
        references=list(found.provenance.sources),
        reported_to=found.reported_to,
        notes=list(found.notes),
        quality_warning=found.quality_warning or None,
        inputs_sha256=found.provenance.inputs_sha256,
        software=found.provenance.software,
    )


def _class(found: Classification) -> WireClass:
    source = found.reference
    return WireClass(
        name=found.name,
        in_words=found.in_words(),
        shares=[WireShare(name=s.name, share=s.share) for s in found.shares],
        scheme=found.scheme,
        variant=found.variant,
        reference=WireReference(
            id=source.id, text=source.text, identifier=source.identifier, seen=source.seen.value
        ),
        settles=found.settles or None,
    )
