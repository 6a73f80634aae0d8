"""The first tables: people, cases, studies, images, readings, grades."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from hipwright.adapters.store.append_only import (
    POSTGRESQL_FUNCTION,
    postgresql_triggers,
    sqlite_triggers,
)
from hipwright.adapters.store.column_types import Id, UtcTime

revision = "0001"
down_revision = None

Key = tuple[str, ...]


def upgrade() -> None:
    """Make the tables in the order in which they refer to each other."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(POSTGRESQL_FUNCTION)
    _table("device")
    _table(
        "workspace",
        sa.Column("workspace", Id, nullable=False),
        sa.Column("software", sa.String(40), nullable=False),
    )
    _table("person", sa.Column("invented", sa.Boolean, nullable=False))
    _versions(
        "person_version",
        _to("person"),
        sa.Column("sex", sa.String(16)),
        sa.Column("birth_date_shifted", sa.Date),
    )
    _table(
        "hip_case",
        sa.Column("code", sa.String(32), nullable=False),
        sa.Column("code_key", sa.String(32), nullable=False),
        _to("person"),
        sa.Column("side", sa.String(8), nullable=False),
        sa.Column("opened_at", UtcTime, nullable=False),
        sa.Column("invented", sa.Boolean, nullable=False),
        unique=[("person_id", "side"), ("code_key",)],
    )
    _versions("hip_case_version", _to("hip_case", "case_id"), _text("summary"))
    _table(
        "study",
        _to("person"),
        sa.Column("acquired_on", sa.Date),
        _text("label"),
        sa.Column("source_uid", sa.String(64)),
        unique=[("source_uid",)],
        index=["person_id"],
    )
    _images()
    _readings()


def _images() -> None:
    _table(
        "image",
        _to("study"),
        _to("person"),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("modality", sa.String(16), nullable=False),
        sa.Column("columns", sa.Integer, nullable=False),
        sa.Column("rows", sa.Integer, nullable=False),
        sa.Column("acquired_on", sa.Date),
        index=["person_id"],
    )
    _table(
        "image_file",
        _to("image"),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("position", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("source_uid", sa.String(64)),
        unique=[("image_id", "version", "position")],
        index=["sha256", "source_uid"],
    )
    _versions(
        "image_version",
        _to("image"),
        sa.Column("view", sa.String(24), nullable=False),
        sa.Column("laterality", sa.String(8), nullable=False),
        sa.Column("posture", sa.String(16), nullable=False),
        sa.Column("calibration", sa.JSON, nullable=False),
        sa.Column("patient_right_at_image_left", sa.Boolean, nullable=False),
        sa.Column("anterior_at_image_right", sa.Boolean),
        _text("phase"),
        sa.Column("confirmed", sa.Boolean, nullable=False),
        sa.Column("warnings", sa.JSON, nullable=False),
    )


def _readings() -> None:
    _table(
        "reading",
        _to("image"),
        sa.Column("observer", sa.String(120), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        unique=[("image_id", "observer", "number")],
    )
    _versions(
        "reading_version",
        _to("reading"),
        _to("hip_case", "case_id"),
        sa.Column("landmarks", sa.JSON, nullable=False),
    )
    _table(
        "grade",
        _to("hip_case", "case_id"),
        sa.Column("image_id", Id, sa.ForeignKey("image.id", name="fk_grade_image_id")),
        sa.Column("definition", sa.String(120), nullable=False),
        sa.Column("value", sa.String(120), nullable=False),
        sa.Column("details", sa.JSON, nullable=False),
        sa.Column("observer", sa.String(120), nullable=False),
        sa.Column("saved_at", UtcTime, nullable=False),
        index=["case_id"],
    )


def _to(table: str, column: str = "") -> sa.Column[str]:
    return sa.Column(column or f"{table}_id", Id, sa.ForeignKey(f"{table}.id"), nullable=False)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _versions(name: str, of: sa.Column[str], *columns: sa.Column[Any]) -> None:
    version = sa.Column("version", sa.Integer, nullable=False)
    _table(name, of, version, *columns, unique=[(of.name, "version")])


def _table(
    name: str,
    *columns: sa.Column[Any],
    unique: Sequence[Key] = (),
    index: Sequence[str] = (),
) -> None:
    op.create_table(
        name,
        sa.Column("id", Id, primary_key=True),
        sa.Column("origin", Id, sa.ForeignKey("device.id"), nullable=False),
        sa.Column("recorded_at", UtcTime, nullable=False),
        sa.Column("recorded_by", sa.String(120), nullable=False),
        *columns,
        *(sa.UniqueConstraint(*key) for key in unique),
    )
    for column in index:
        op.create_index(f"ix_{name}_{column}", name, [column])
    if op.get_bind().dialect.name == "sqlite":
        statements = sqlite_triggers(name, [("id",), *unique])
    else:
        statements = postgresql_triggers(name)
    for statement in statements:
        op.execute(statement)
