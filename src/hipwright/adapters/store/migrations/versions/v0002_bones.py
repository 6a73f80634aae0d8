"""Bones: builds and their surfaces, readers' landmarks, hand edits of labels, long jobs."""

import sqlalchemy as sa

from hipwright.adapters.store.column_types import UtcTime
from hipwright.adapters.store.migrations.steps import add_table, add_versions, text, to

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables in the order in which they refer to each other."""
    _builds()
    add_table(
        "bone_reading",
        to("bone_build", "build_id"),
        sa.Column("observer", sa.String(120), nullable=False),
        unique=[("build_id", "observer")],
    )
    add_versions(
        "bone_reading_version",
        to("bone_reading", "reading_id"),
        sa.Column("moved", sa.JSON, nullable=False),
        sa.Column("standing_tilt_deg", sa.Double),
        sa.Column("supine_tilt_deg", sa.Double),
        text("tilt_source"),
    )
    add_versions(
        "label_edits",
        to("image"),
        sa.Column("edits_file", sa.String(64), nullable=False),
        sa.Column("saved_by", sa.String(120), nullable=False),
    )
    _jobs()


def _builds() -> None:
    add_table(
        "bone_build",
        to("person"),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("made_from", sa.String(16), nullable=False),
        sa.Column("landmarks", sa.JSON, nullable=False),
        sa.Column("remarks", sa.JSON, nullable=False),
        sa.Column("labels_file", sa.String(64)),
        sa.Column("edits_file", sa.String(64)),
        sa.Column("software", sa.String(40), nullable=False),
        sa.Column("made_by", sa.String(120), nullable=False),
        sa.Column("made_at", UtcTime, nullable=False),
        unique=[("person_id", "number")],
    )
    add_table(
        "bone_build_image",
        to("bone_build", "build_id"),
        sa.Column("position", sa.Integer, nullable=False),
        to("image"),
        unique=[("build_id", "position")],
    )
    add_table(
        "kept_bone",
        to("bone_build", "build_id"),
        sa.Column("bone", sa.String(24), nullable=False),
        sa.Column("part", sa.String(24), nullable=False),
        sa.Column("surface_file", sa.String(64), nullable=False),
        sa.Column("triangles", sa.Integer, nullable=False),
        sa.Column("quality", sa.JSON, nullable=False),
        sa.Column("cut_low", sa.Boolean, nullable=False),
        sa.Column("cut_high", sa.Boolean, nullable=False),
        unique=[("build_id", "bone", "part")],
    )


def _jobs() -> None:
    add_table(
        "job",
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("subject", sa.String(64), nullable=False),
        sa.Column("started_at", UtcTime, nullable=False),
        index=["subject"],
    )
    add_versions(
        "job_event",
        to("job"),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("done", sa.Integer, nullable=False),
        sa.Column("total", sa.Integer, nullable=False),
        text("message"),
        sa.Column("cancel_asked", sa.Boolean, nullable=False),
        sa.Column("result", sa.String(64), nullable=False),
        sa.Column("error", sa.JSON),
    )
