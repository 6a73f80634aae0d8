"""What an import did, as a document."""

from __future__ import annotations

from typing import Literal

from hipwright.adapters.wire.documents import SOFTWARE, WireModel
from hipwright.domain.keeping import Image
from hipwright.workflows.read_study import ImportReport


class WireCase(WireModel):
    """A case of one of the people that arrived."""

    code: str
    side: Literal["left", "right"]
    opened: bool


class WireImage(WireModel):
    """One image that came in."""

    id: str
    kind: str
    modality: str
    view: str
    laterality: str
    posture: str
    files: int
    columns: int
    rows: int
    spacing: str
    mm_per_column: float | None = None
    mm_per_row: float | None = None
    relative_sd: float
    scale_note: str
    warnings: tuple[str, ...] = ()


class WireRejected(WireModel):
    """A file that was turned away."""

    file: str
    reason: str


class WireQuestion(WireModel):
    """What only a person can settle."""

    asked: str
    text: str
    image: str | None = None


class ImportDocument(WireModel):
    """What ``hipwright add --json`` prints."""

    format: Literal["hipwright.import"] = "hipwright.import"
    version: Literal[1] = 1
    software: str = SOFTWARE
    people: int
    cases: tuple[WireCase, ...]
    images: tuple[WireImage, ...]
    completed: tuple[WireImage, ...]
    already_here: int
    rejected: tuple[WireRejected, ...]
    questions: tuple[WireQuestion, ...]
    warnings: tuple[str, ...]


def import_document(report: ImportReport) -> ImportDocument:
    """Make the document of an import."""
    return ImportDocument(
        people=report.people,
        cases=tuple(
            WireCase(code=case.code, side=case.side.value, opened=case.code in report.opened)
            for case in report.cases
        ),
        images=tuple(map(_image, report.images)),
        completed=tuple(map(_image, report.completed)),
        already_here=report.already_here,
        rejected=tuple(WireRejected(file=r.file, reason=r.reason) for r in report.rejected),
        questions=tuple(
            WireQuestion(asked=q.asked.value, text=q.text, image=q.image) for q in report.questions
        ),
        warnings=report.warnings,
    )


def _image(image: Image) -> WireImage:
    scale = image.calibration
    return WireImage(
        id=image.id,
        kind=image.kind.value,
        modality=image.modality,
        view=image.view.value,
        laterality=image.laterality.value,
        posture=image.posture.value,
        files=len(image.files),
        columns=image.columns,
        rows=image.rows,
        spacing=scale.source.value,
        mm_per_column=scale.column_mm if scale.is_calibrated else None,
        mm_per_row=scale.row_mm if scale.is_calibrated else None,
        relative_sd=scale.relative_sd,
        scale_note=scale.note,
        warnings=image.warnings,
    )
