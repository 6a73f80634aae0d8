"""What the browser sends: strokes of a brush, outlines, cuts, seeds."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from hipwright.engines.imaging.slice_views import SliceDirection

Number = Annotated[float, Field(allow_inf_nan=False, ge=-10_000, le=10_000)]
Place = tuple[Number, Number, Number]
"""``patient_lps``, mm."""

DeskName = Annotated[str, Field(pattern=r"^[a-z0-9-]{8,40}$")]


class Message(BaseModel):
    """Nothing else than what is said, and nothing changed afterward."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Painted(Message):
    """A brush or an eraser (code 0) drawn along a path, a filled outline or a filled region."""

    how: Literal["ball", "disc", "outline", "region"]
    direction: SliceDirection
    index: Annotated[int, Field(ge=0, le=10_000)]
    path: Annotated[tuple[Place, ...], Field(min_length=1, max_length=4000)]
    radius: Annotated[float, Field(ge=0.2, le=50)] = 3.0
    code: Annotated[int, Field(ge=0, le=8)]


class CutDrawn(Message):
    """A cut across a line drawn on a picture: it reaches as far in depth as along the line."""

    how: Literal["cut"]
    direction: SliceDirection
    path: tuple[Place, Place]


class SeedSet(Message):
    """A place that certainly belongs to a bone, or to none."""

    how: Literal["seed"]
    at: Place
    code: Annotated[int, Field(ge=0, le=8)]


class MarkRemoved(Message):
    """A cut or a seed that is taken away again, by its number."""

    how: Literal["remove"]
    kind: Literal["cut", "seed"]
    number: Annotated[int, Field(ge=0, le=10_000)]


class Step(Message):
    """A step back or forward."""

    how: Literal["undo", "redo"]


class Edit(Message):
    """One edit of one page."""

    desk: DeskName
    edit: Annotated[Painted | CutDrawn | SeedSet | MarkRemoved | Step, Field(discriminator="how")]


class Keep(Message):
    """Keep a page's edits, over that version."""

    desk: DeskName
    expected_version: Annotated[int, Field(ge=0)]


class Settle(Message):
    """What becomes of two versions: mine, theirs, or both together."""

    desk: DeskName
    choice: Literal["mine", "theirs", "both"]
