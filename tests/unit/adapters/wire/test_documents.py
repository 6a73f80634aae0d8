"""The envelope of every document, and the error document."""

from __future__ import annotations

import json

import jsonschema
import pydantic
import pytest

from hipwright import __version__
from hipwright.adapters.wire.documents import (
    CAUTION,
    SOFTWARE,
    ErrorDocument,
    ReportDocument,
    as_json,
    error_document,
    schema_of,
)
from hipwright.domain.errors import HipwrightError, LandmarkError


def test_an_error_document_tells_the_refusal_in_full() -> None:
    error = LandmarkError(
        "cannot place alpha_onset", found="NaN", next_step="Place it again.", field="alpha_onset"
    )
    found = json.loads(as_json(error_document(error)))
    jsonschema.validate(found, schema_of(ErrorDocument))
    assert found == {
        "format": "hipwright.error",
        "version": 1,
        "software": SOFTWARE,
        "error": {
            "code": "landmark",
            "message": "cannot place alpha_onset: found NaN. Place it again.",
            "field": "alpha_onset",
            "help": "Place it again.",
        },
    }


def test_what_is_not_known_is_left_out() -> None:
    body = json.loads(as_json(error_document(HipwrightError("cannot do it"))))["error"]
    assert "field" not in body


def test_a_document_is_indented_in_the_order_of_its_fields() -> None:
    text = as_json(ReportDocument(case="K7M-4QX", file="x.pdf", films=2))
    assert text.startswith('{\n  "format": "hipwright.report",\n  "version": 1,\n')


def test_nothing_unknown_comes_into_a_document_and_nothing_changes_in_it() -> None:
    with pytest.raises(pydantic.ValidationError, match="extra"):
        ReportDocument.model_validate({"case": "a", "file": "b", "films": 1, "name": "Planted"})
    made = ReportDocument(case="a", file="b", films=1)
    with pytest.raises(pydantic.ValidationError, match="frozen"):
        made.films = 2


def test_the_caution_says_all_that_care_asks_for() -> None:
    # DESIGN, "Care": for licensed clinicians as one input; no medical device; not validated on
    # clinical images; local protocols and the treating surgeon's judgment prevail.
    for words in (
        "licensed clinicians as one input",
        "Not a medical device",
        "Not validated on clinical images",
        "Local protocols",
        "treating surgeon's judgment prevail",
    ):
        assert words in CAUTION
    assert f"hipwright {__version__}" == SOFTWARE
