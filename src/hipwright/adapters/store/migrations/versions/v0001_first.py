"""The first tables: people, cases, studies, images, readings, grades."""

import sqlalchemy as sa
from alembic import op

from hipwright.adapters.store.append_only import POSTGRESQL_FUNCTION
from hipwright.adapters.store.column_types import Id, UtcTime
from hipwright.adapters.store.migrations.steps import add_table, add_versions, text, to

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables in the order in which they refer to each other."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(POSTGRESQL_FUNCTION)
    add_table("device")
    add_table(
        "workspace",
        sa.Column("workspace", Id, nullable=False),
        sa.Column("software", sa.String(40), nullable=False),
    )
    add_table("person", sa.Column("invented", sa.Boolean, nullable=False))
    add_versions(
        "person_version",
        to("person"),
        sa.Column("sex", sa.String(16)),
        sa.Column("birth_date_shifted", sa.Date),
    )
    add_table(
        "hip_case",
        sa.Column("code", sa.String(32), nullable=False),
        sa.Column("code_key", sa.String(32), nullable=False),
        to("person"),
        sa.Column("side", sa.String(8), nullable=False),
        sa.Column("opened_at", UtcTime, nullable=False),
        sa.Column("invented", sa.Boolean, nullable=False),
        unique=[("person_id", "side"), ("code_key",)],
    )
    add_versions("hip_case_version", to("hip_case", "case_id"), text("summary"))
    add_table(
        "study",
        to("person"),
        sa.Column("acquired_on", sa.Date),
        text("label"),
        sa.Column("source_uid", sa.String(64)),
        unique=[("source_uid",)],
        index=["person_id"],
    )
    _images()
    _readings()


def _images() -> None:
    add_table(
        "image",
        to("study"),
        to("person"),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("modality", sa.String(16), nullable=False),
        sa.Column("columns", sa.Integer, nullable=False),
        sa.Column("rows", sa.Integer, nullable=False),
        sa.Column("acquired_on", sa.Date),
        index=["person_id"],
    )
    add_table(
        "image_file",
        to("image"),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("position", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("source_uid", sa.String(64)),
        unique=[("image_id", "version", "position")],
        index=["sha256", "source_uid"],
    )
    add_versions(
        "image_version",
        to("image"),
        sa.Column("view", sa.String(24), nullable=False),
        sa.Column("laterality", sa.String(8), nullable=False),
        sa.Column("posture", sa.String(16), nullable=False),
        sa.Column("calibration", sa.JSON, nullable=False),
        sa.Column("patient_right_at_image_left", sa.Boolean, nullable=False),
        sa.Column("anterior_at_image_right", sa.Boolean),
        text("phase"),
        sa.Column("confirmed", sa.Boolean, nullable=False),
        sa.Column("warnings", sa.JSON, nullable=False),
    )


def _readings() -> None:
    add_table(
        "reading",
        to("image"),
        sa.Column("observer", sa.String(120), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        unique=[("image_id", "observer", "number")],
    )
    add_versions(
        "reading_version",
        to("reading"),
        to("hip_case", "case_id"),
        sa.Column("landmarks", sa.JSON, nullable=False),
    )
    add_table(
        "grade",
        to("hip_case", "case_id"),
        sa.Column("image_id", Id, sa.ForeignKey("image.id", name="fk_grade_image_id")),
        sa.Column("definition", sa.String(120), nullable=False),
        sa.Column("value", sa.String(120), nullable=False),
        sa.Column("details", sa.JSON, nullable=False),
        sa.Column("observer", sa.String(120), nullable=False),
        sa.Column("saved_at", UtcTime, nullable=False),
        index=["case_id"],
    )
