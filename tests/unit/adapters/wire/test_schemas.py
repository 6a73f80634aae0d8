"""Every document has its schema; that the documentation has them, the docs check tells."""

from __future__ import annotations

import json

import jsonschema
import pytest

from hipwright.adapters.wire.documents import WireModel
from hipwright.adapters.wire.schemas import DOCUMENTS, schema_files

FILES = schema_files()


def test_every_document_model_has_a_schema_file() -> None:
    models = {
        model
        for model in every_kind_of(WireModel)
        if "format" in model.model_fields and model.__module__.startswith("hipwright.adapters")
    }
    assert models == {model for _, model in DOCUMENTS}
    assert len(FILES) == len(DOCUMENTS) + 1


def every_kind_of(model: type[WireModel]) -> set[type[WireModel]]:
    return {model}.union(*(every_kind_of(kind) for kind in model.__subclasses__()))


@pytest.mark.parametrize("name", sorted(set(FILES) - {"index.md"}))
def test_a_schema_is_valid_and_pins_its_format_and_version(name: str) -> None:
    schema = json.loads(FILES[name])
    jsonschema.Draft202012Validator.check_schema(schema)
    pinned = schema["properties"]["format"]["const"]
    assert name == f"{pinned.removeprefix('hipwright.')}.schema.json"
    assert schema["properties"]["version"]["const"] == 1
    assert schema["additionalProperties"] is False


def test_the_index_names_every_schema_once() -> None:
    for name in set(FILES) - {"index.md"}:
        assert FILES["index.md"].count(f"({name})") == 1
