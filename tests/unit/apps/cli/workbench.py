"""Running commands on a real workspace with one analytic case in it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
from typer.testing import CliRunner, Result

from hipwright import wiring
from hipwright.adapters.wire.documents import WireModel, as_json, schema_of
from hipwright.adapters.wire.landmark_file import landmarks_to_wire
from hipwright.adapters.wire.schemas import DOCUMENTS
from hipwright.apps.cli.main import app
from hipwright.domain.landmarks import LandmarkSet
from tests.analytic_cases import ANALYTIC, KeptCase, keep_case, png_of

MODELS: dict[str, type[WireModel]] = {
    str(model.model_fields["format"].default): model for _, model in DOCUMENTS
}


def run(*arguments: object) -> Result:
    """Run a command in this process, on a wide terminal."""
    return CliRunner().invoke(app, [*map(str, arguments)], env={"COLUMNS": "240"})


def valid(text: str) -> dict[str, Any]:
    """The one document in a text, valid by its own schema."""
    found = json.loads(text)
    jsonschema.validate(found, schema_of(MODELS[found["format"]]))
    assert found["version"] == 1
    return found


def document(done: Result) -> dict[str, Any]:
    """The one document on stdout; a refusal is an error document and exit 1."""
    found = valid(done.stdout)
    assert (found["format"] == "hipwright.error") == (done.exit_code == 1)
    return found


def refusal(done: Result) -> dict[str, Any]:
    """The body of the error document, which says what to do next."""
    found = document(done)
    assert done.exit_code == 1
    assert "Traceback" not in done.stderr
    assert found["error"]["help"] in found["error"]["message"]
    assert found["error"]["help"]
    return found["error"]


def case_with(*films: str) -> KeptCase:
    """Make the workspace with one left case and these films."""
    with wiring.open_workspace(create=True) as opened:
        return keep_case(opened.keeper, *films, identities=opened.identity, content_of=png_of)


def landmark_file(folder: Path, key: str, **changes: Any) -> Path:
    """A perfect reading of an analytic film as a file; it does not name the film."""
    file = landmarks_to_wire(ANALYTIC[key][0].landmarks)
    path = folder / f"{key}.json"
    path.write_text(as_json(file.model_copy(update={"image": "", **changes})), "utf-8")
    return path


def kept_readings(kept: KeptCase, key: str) -> list[LandmarkSet]:
    """What the workspace has of a film now."""
    with wiring.open_workspace() as opened:
        return [r.landmarks for r in opened.keeper.readings_of(kept.images[key].id)]
