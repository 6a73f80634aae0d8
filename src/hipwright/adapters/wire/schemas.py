"""JSON Schemas of every document, as files for the documentation."""

from __future__ import annotations

import json

from hipwright.adapters.wire.bones_document import (
    BonesDocument,
    BonesExportDocument,
    MeshesDocument,
)
from hipwright.adapters.wire.catalog_document import CatalogDocument
from hipwright.adapters.wire.documents import (
    ErrorDocument,
    ReportDocument,
    ServingDocument,
    WireModel,
    schema_of,
)
from hipwright.adapters.wire.import_report import ImportDocument
from hipwright.adapters.wire.keeping_documents import (
    BackupDocument,
    CaseDocument,
    CasesDocument,
    DoctorDocument,
    RestoreDocument,
)
from hipwright.adapters.wire.landmark_file import LandmarkFile
from hipwright.adapters.wire.measurements import MeasurementsDocument

DOCUMENTS: tuple[tuple[str, type[WireModel]], ...] = (
    ("`hipwright add --json`", ImportDocument),
    ("`hipwright cases --json`", CasesDocument),
    ("`hipwright show --json`", CaseDocument),
    ("`hipwright landmarks --from`", LandmarkFile),
    ("`hipwright measure --json`", MeasurementsDocument),
    ("`hipwright add --json`, of meshes", MeshesDocument),
    ("`hipwright bones --json`", BonesDocument),
    ("`hipwright report --json`", ReportDocument),
    ("`hipwright export --json`", BonesExportDocument),
    ("`hipwright catalog --json`", CatalogDocument),
    ("`hipwright backup --json`", BackupDocument),
    ("`hipwright restore --json`", RestoreDocument),
    ("`hipwright doctor --json`", DoctorDocument),
    ("`hipwright serve --json`, `demo --json`", ServingDocument),
    ("any command that fails", ErrorDocument),
)
"""Every document with where it is met."""

HEAD = """# JSON documents

Every command that takes `--json` prints one document on stdout and nothing else; progress goes to
stderr. `format` and `version` say what it is: a field never changes its meaning within a
version. Units are UCUM codes (`deg`, `mm`, `%`, `1`). When a command fails, the document is the
error document and the exit status is 1.

| document | version | where | schema |
| --- | --- | --- | --- |
"""


def schema_files() -> dict[str, str]:
    """The text of every schema file and of the index, by file name."""
    pages: dict[str, str] = {}
    rows: list[str] = []
    for where, model in DOCUMENTS:
        fields = model.model_fields
        name, version = str(fields["format"].default), fields["version"].default
        file = f"{name.removeprefix('hipwright.')}.schema.json"
        pages[file] = json.dumps(schema_of(model), indent=2, ensure_ascii=False) + "\n"
        rows.append(f"| `{name}` | {version} | {where} | [{file}]({file}) |\n")
    pages["index.md"] = HEAD + "".join(rows)
    return pages
