"""What the Bones screen takes from the server, and which build and reading it shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Query, Request
from starlette.requests import HTTPConnection

from hipwright.apps.web.bones.at_hand import BonesAtHand, piece_of
from hipwright.apps.web.bones.shelf import BoneShelf
from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.named_case import Named
from hipwright.apps.web.state import web_state
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, KeptBone

BONES, SHELF = "bones", "bone shelf"
"""Under which names the screen keeps its things with the server's."""


def bones_of(asked: HTTPConnection) -> BonesAtHand:
    """The bones of the open workspace."""
    state = web_state(asked)
    if BONES not in state.rooms:
        from hipwright.apps.web.bones.workspace_bones import WorkspaceBones

        state.rooms[BONES] = WorkspaceBones(state.opened, state.clock)
    return state.rooms[BONES]


def shelf_of(asked: HTTPConnection) -> BoneShelf:
    """What has been measured and packed lately."""
    return web_state(asked).rooms.setdefault(SHELF, BoneShelf())


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The build and the reading a page is about, of the case it was opened from."""

    case: Case
    build: BoneBuild
    reading: BoneReading | None

    @property
    def version(self) -> int:
        """Version of the reading, 0 where there is none."""
        return 0 if self.reading is None else self.reading.version

    def own_version(self, observer: str | None) -> int:
        """What a save of that observer expects: 0 before the first of their own."""
        mine = self.reading is not None and self.reading.observer == observer
        return self.version if mine else 0

    @property
    def query(self) -> str:
        """What addresses of parts of this page carry."""
        whose = "" if self.reading is None else f"&by={self.reading.observer}"
        return f"build={self.build.id}{whose}&version={self.version}"


def opened_bones(
    request: Request,
    case: Named,
    build: Annotated[str, Query()] = "",
    by: Annotated[str, Query()] = "",
) -> Opened:
    """The asked build, else the newest; the asked reader's reading, else the session's own.

    Raises
    ------
    NotFoundError
        The person has no such build.
    """
    at_hand = bones_of(request)
    builds = at_hand.builds(case.person)
    chosen = (
        next((b for b in builds if b.id == build), None) if build else next(iter(builds), None)
    )
    if chosen is None:
        raise NotFoundError(
            "cannot show the bones",
            found="no bone models" if not build else "another person's models, or none",
            needed="bone models of this person",
            next_step="Make them on the Bones page of the case.",
            field="build",
        )
    readings = at_hand.readings(chosen)
    return Opened(
        case=case, build=chosen, reading=_reading(readings, by or observer_of(request) or "")
    )


def _reading(readings: Sequence[BoneReading], observer: str) -> BoneReading | None:
    """The observer's own reading; one who has none sees the newest of all."""
    own = next((r for r in readings if r.observer == observer), None)
    return own or next(iter(readings), None)


OpenedBones = Annotated[Opened, Depends(opened_bones)]


def piece_named(build: BoneBuild, piece: str) -> KeptBone:
    """The piece of a build.

    Raises
    ------
    NotFoundError
        It has none of that name.
    """
    found = next((bone for bone in build.bones if piece_of(bone) == piece), None)
    if found is None:
        raise NotFoundError(
            "cannot show the bone",
            found=f"no {piece.replace('_', ' ')}",
            needed="a bone of this build",
            next_step="Open the Bones page again.",
            field="piece",
        )
    return found
