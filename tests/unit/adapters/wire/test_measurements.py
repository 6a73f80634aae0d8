"""Measurements as JSON: every number with its papers, in UCUM units."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from hipwright.adapters.wire.documents import CAUTION, as_json, schema_of
from hipwright.adapters.wire.measurements import MeasurementsDocument, measurements_document
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.workflows.measure_hip import measure_landmarks
from tests.analytic_cases import ANALYTIC

UCUM = {"deg", "mm", "%", "1", "{pixel}"}  # https://ucum.org, from memory


@pytest.fixture(scope="module")
def findings() -> tuple[Finding, ...]:
    return tuple(
        finding
        for made, _ in ANALYTIC.values()
        for finding in measure_landmarks(made.film, made.landmarks, list(Side))
    )


@pytest.fixture(scope="module")
def document(findings: tuple[Finding, ...]) -> dict[str, Any]:
    return json.loads(as_json(measurements_document(findings, "K7M-4QX")))


def test_the_document_is_valid_by_its_own_schema(document: dict[str, Any]) -> None:
    schema = schema_of(MeasurementsDocument)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema)
    assert (document["format"], document["version"]) == ("hipwright.measurements", 1)
    assert (document["case"], document["caution"]) == ("K7M-4QX", CAUTION)


def test_every_number_is_the_one_that_was_measured_with_its_papers(
    document: dict[str, Any], findings: tuple[Finding, ...]
) -> None:
    assert len(document["items"]) == len(findings)
    for item, found in zip(document["items"], findings, strict=True):
        assert item["id"] == found.definition
        assert item.get("side") == (None if found.side is None else found.side.value)
        if isinstance(found, NotMeasured):
            assert item["not_measured"] == found.reason
            assert "value" not in item
            continue
        e = found.estimate
        assert (item["value"], item["low"], item["high"], item["level"]) == (
            e.value,
            e.low,
            e.high,
            e.level,
        )
        assert item["unit"] in UCUM
        assert (item["image"], item["observer"]) == (found.image, found.observer)
        assert item["references"] == list(found.provenance.sources)
        assert len(item["inputs_sha256"]) == 64
        for papers in ("name", "spread", "view", "method", "software", "reported_to"):
            assert item[papers]


def test_classes_tell_shares_scheme_source_and_how_it_was_seen(
    document: dict[str, Any], findings: tuple[Finding, ...]
) -> None:
    told = 0
    for item, found in zip(document["items"], findings, strict=True):
        if not isinstance(found, Measurement) or found.classification is None:
            assert "class" not in item
            continue
        told += 1
        classed = item["class"]
        assert classed["name"] == found.classification.name
        assert classed["in_words"] == found.classification.in_words()
        assert sum(share["share"] for share in classed["shares"]) == pytest.approx(1.0)
        assert classed["scheme"]
        assert classed["reference"]["seen"] == found.classification.reference.seen.value
    assert told > 10


def test_measurements_without_a_case_leave_the_case_out() -> None:
    assert "case" not in json.loads(as_json(measurements_document([], None)))
