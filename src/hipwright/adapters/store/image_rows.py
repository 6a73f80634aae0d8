"""Studies and images as rows, and back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import RowMapping

from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Image, ImageKind, Laterality, Study
from hipwright.domain.study import Calibration, Posture, SpacingSource, View

VERSION_FIELDS = (
    "view",
    "laterality",
    "posture",
    "calibration",
    "patient_right_at_image_left",
    "anterior_at_image_right",
    "phase",
    "confirmed",
    "warnings",
)

FIXED_FIELDS = (
    "study",
    "person",
    "kind",
    "modality",
    "columns",
    "rows",
    "acquired_on",
)


def study_from(row: RowMapping) -> Study:
    """The study that a row tells of."""
    return Study(
        id=row["id"],
        person=row["person_id"],
        acquired_on=row["acquired_on"],
        label=row["label"],
        source_uid=row["source_uid"] or "",
    )


def image_row(image: Image) -> dict[str, Any]:
    """The fixed facts of an image."""
    return {
        "study_id": image.study,
        "person_id": image.person,
        "kind": image.kind.value,
        "modality": image.modality,
        "columns": image.columns,
        "rows": image.rows,
        "acquired_on": image.acquired_on,
    }


def image_version(image: Image) -> dict[str, Any]:
    """What can change about an image."""
    calibration = image.calibration
    return {
        "image_id": image.id,
        "version": image.version,
        "view": image.view.value,
        "laterality": image.laterality.value,
        "posture": image.posture.value,
        "calibration": {
            "column_mm": calibration.column_mm,
            "row_mm": calibration.row_mm,
            "source": calibration.source.name,
            "relative_sd": calibration.relative_sd,
            "magnification": calibration.magnification,
            "note": calibration.note,
        },
        "patient_right_at_image_left": image.patient_right_at_image_left,
        "anterior_at_image_right": image.anterior_at_image_right,
        "phase": image.phase,
        "confirmed": image.confirmed,
        "warnings": list(image.warnings),
    }


def file_rows(image: Image) -> list[dict[str, Any]]:
    """One row a file.

    Raises
    ------
    KeepingError
        The image has no files, or UIDs for some of them only.
    """
    uids: Sequence[str | None] = image.source_uids or [None] * len(image.files)
    if not image.files or len(uids) != len(image.files):
        raise KeepingError(
            "cannot keep the image",
            found=f"{len(image.files)} files and {len(image.source_uids)} instance UIDs",
            needed="at least one file, and a UID for each or for none",
            next_step="Import the image again.",
            field="files",
        )
    return [
        {
            "image_id": image.id,
            "version": image.version,
            "position": position,
            "sha256": digest,
            "source_uid": uid,
        }
        for position, (digest, uid) in enumerate(zip(image.files, uids, strict=True))
    ]


def image_from(row: RowMapping, files: Sequence[RowMapping]) -> Image:
    """The image that its rows tell of; ``files`` in slice order."""
    calibration = row["calibration"]
    return Image(
        id=row["id"],
        study=row["study_id"],
        person=row["person_id"],
        kind=ImageKind(row["kind"]),
        modality=row["modality"],
        view=View(row["view"]),
        laterality=Laterality(row["laterality"]),
        posture=Posture(row["posture"]),
        calibration=Calibration(
            **{**calibration, "source": SpacingSource[calibration["source"]]},
        ),
        columns=row["columns"],
        rows=row["rows"],
        files=tuple(file["sha256"] for file in files),
        source_uids=tuple(file["source_uid"] for file in files if file["source_uid"]),
        acquired_on=row["acquired_on"],
        patient_right_at_image_left=row["patient_right_at_image_left"],
        anterior_at_image_right=row["anterior_at_image_right"],
        phase=row["phase"],
        confirmed=row["confirmed"],
        warnings=tuple(row["warnings"]),
        version=row["version"],
    )
