"""The catalog as JSON: complete, and open ends left out instead of infinite."""

from __future__ import annotations

import json
import math
from typing import Any

import jsonschema
import pytest

from hipwright.adapters.wire.catalog_document import CatalogDocument, catalog_document
from hipwright.adapters.wire.documents import as_json, schema_of
from hipwright.catalog import load


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    def no_constant(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(as_json(catalog_document(load())), parse_constant=no_constant)


def test_the_catalog_is_valid_by_its_own_schema(document: dict[str, Any]) -> None:
    jsonschema.validate(document, schema_of(CatalogDocument))


def test_everything_on_the_shelf_is_in_the_document(document: dict[str, Any]) -> None:
    shelf = load()
    for part in ("landmarks", "measurements", "references"):
        assert [item["id"] for item in document[part]] == list(getattr(shelf, part))
    for item in document["measurements"]:
        entry = shelf.measurement(item["id"])
        assert (item["construction"], item["unit"]) == (entry.construction, entry.unit.value)
        assert item["grades"] == [grade.value for grade in entry.grades]


def test_whatever_is_named_in_the_document_is_defined_in_it(document: dict[str, Any]) -> None:
    landmarks = {item["id"] for item in document["landmarks"]}
    sources = {item["id"] for item in document["references"]}
    for item in document["measurements"]:
        assert {name.partition("@")[0] for name in item["landmarks"]} <= landmarks
        assert set(item["references"]) <= sources
        assert {found["cite"] for found in item["ranges"]} <= sources


def test_bands_keep_their_edges_and_open_ends_are_left_out(document: dict[str, Any]) -> None:
    for item in document["measurements"]:
        for told, kept in zip(
            item["ranges"], load().measurement(item["id"]).reference_ranges, strict=True
        ):
            assert "low" not in told["bands"][0]
            assert "high" not in told["bands"][-1]
            for band, real in zip(told["bands"], kept.bands, strict=True):
                assert band.get("low", -math.inf) == real.low
                assert band.get("high", math.inf) == real.high
