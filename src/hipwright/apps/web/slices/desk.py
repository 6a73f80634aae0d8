"""What the Slices screen takes from the server: the open series, labels, edits under way."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from starlette.requests import HTTPConnection

from hipwright.adapters.bone_files.labeling import edits_from, labels_from
from hipwright.apps.web.slices.volume_shelf import Block, VolumeShelf
from hipwright.apps.web.slices.working_edits import EditDesks, WorkingEdits
from hipwright.apps.web.state import WebState, web_state
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, Image, ImageKind
from hipwright.domain.keeping_bones import BoneBuild, Job, KeptEdits
from hipwright.domain.volume import LabelEdits, LabelVolume, Volume
from hipwright.workflows.ports import BoneKeeper, Keeper, Progress

MOST_LABELS = 2


class SlicesKeeper(Keeper, BoneKeeper, Protocol):
    """A workspace's memory with its bones, and who has read anything."""

    def readers(self) -> Sequence[str]:
        """Everybody who has kept a reading."""
        ...


@dataclass
class LabelShelf:
    """Unpacked label volumes, by digest; the one longest unused goes first."""

    get_file: Callable[[str], bytes]
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _kept: OrderedDict[str, LabelVolume] = field(default_factory=OrderedDict[str, LabelVolume])

    def get(self, sha256: str) -> LabelVolume:
        """The labels of that digest."""
        with self._lock:
            if sha256 not in self._kept:
                self._kept[sha256] = labels_from(self.get_file(sha256))
            self._kept.move_to_end(sha256)
            while len(self._kept) > MOST_LABELS:
                self._kept.popitem(last=False)
            return self._kept[sha256]


class BonesWork(Protocol):
    """The long work on a series."""

    def start(self, image: str) -> Job:
        """Begin; one that is at work already goes on."""
        ...

    def newest(self, image: str) -> Job | None:
        """The newest work on a series; one whose process died says so."""
        ...

    def cancel(self, job: str) -> Job:
        """Ask for it to be given up."""
        ...


class WorkspaceWork:
    """The work in the open workspace (the protocol ``BonesWork``)."""

    def __init__(self, state: WebState) -> None:
        self._state = state

    def start(self, image: str) -> Job:
        """Begin in a process of its own."""
        from hipwright.wiring import start_bones_job

        return start_bones_job(self._state.opened, image)

    def newest(self, image: str) -> Job | None:
        """The newest work on a series."""
        from hipwright.wiring import bones_job

        return bones_job(self._state.opened, image)

    def cancel(self, job: str) -> Job:
        """Ask for it to be given up."""
        from hipwright.wiring import cancel_job

        return cancel_job(self._state.opened, job)


@dataclass(kw_only=True)
class SlicesDesk:
    """The Slices screen's own things, one for each server."""

    volumes: VolumeShelf
    labels: LabelShelf
    work: BonesWork
    edits: EditDesks = field(default_factory=EditDesks)


def keeper_of(asked: HTTPConnection) -> SlicesKeeper:
    """The memory of the open workspace."""
    return web_state(asked).opened.keeper


def desk_of(asked: HTTPConnection) -> SlicesDesk:
    """The desk of the server that was asked."""
    app = asked.app.state
    if not hasattr(app, "slices"):
        state = web_state(asked)

        def read(image: Image, progress: Progress) -> tuple[Volume, ...]:
            from hipwright.wiring import volume_reader

            keeper = state.opened.keeper
            return volume_reader().read(image, keeper.get_file, progress)

        app.slices = SlicesDesk(
            volumes=VolumeShelf(read),
            labels=LabelShelf(state.opened.keeper.get_file),
            work=WorkspaceWork(state),
        )
    return app.slices


def series_of(keeper: Keeper, image: str) -> Image:
    """The series of that id.

    Raises
    ------
    NotFoundError
        There is none, or it is no series of slices.
    """
    found = keeper.image(image)
    if found.kind is not ImageKind.SERIES or not found.files:
        raise NotFoundError(
            "cannot open the slices",
            found="a film or a picture",
            needed="a series of slices",
            next_step="Choose a CT or MR series on the case's page.",
            field="image",
        )
    return found


def block_of(asked: HTTPConnection, image: str, number: int) -> Block:
    """One block of an open series; waits until it is read.

    Raises
    ------
    NotFoundError
        The series has no such block.
    VolumeError
        The slices do not make a volume.
    """
    blocks = desk_of(asked).volumes.get(series_of(keeper_of(asked), image))
    if not 0 <= number < len(blocks):
        raise NotFoundError(
            "cannot show the slices",
            found=f"block {number + 1}",
            needed=f"1 to {len(blocks)}",
            next_step="Open the series again.",
            field="block",
        )
    return blocks[number]


def build_of(keeper: BoneKeeper, series: Image) -> BoneBuild | None:
    """The newest build made from that series that has labels."""
    builds = keeper.bone_builds_of(series.person)
    return next((b for b in builds if series.id in b.images and b.labels_file), None)


def labels_of(asked: HTTPConnection, series: Image, block: Block) -> LabelVolume | None:
    """The newest labels that lie on a block's grid, or ``None``."""
    build = build_of(keeper_of(asked), series)
    if build is None:
        return None
    labels = desk_of(asked).labels.get(build.labels_file)
    same = labels.grid.shape == block.volume.grid.shape and np.allclose(
        labels.grid.origin_mm, block.volume.grid.origin_mm, atol=0.01
    )
    return labels if same else None


def blank_labels(block: Block) -> LabelVolume:
    """Labels of nothing, to paint on: a view of one byte, which takes no room."""
    shape = block.volume.grid.shape
    codes = np.broadcast_to(np.zeros(1, np.uint8), shape)
    return LabelVolume(codes=codes, grid=block.volume.grid)


def kept_edits(keeper: SlicesKeeper, series: Image, block: Block) -> tuple[LabelEdits, int]:
    """The newest kept edits that fit a block's grid, and the version that is kept."""
    kept = keeper.label_edits_of(series.id)
    shape = block.volume.grid.shape
    if kept is None:
        return LabelEdits.none(shape), 0
    edits = opened_edits(keeper, kept)
    return (edits if edits.shape == shape else LabelEdits.none(shape)), kept.version


def opened_edits(keeper: Keeper, kept: KeptEdits) -> LabelEdits:
    """What a kept version holds."""
    return edits_from(keeper.get_file(kept.edits_file))


def working_edits(asked: HTTPConnection, series: Image, block: Block, desk: str) -> WorkingEdits:
    """The edits of one browser page; they begin from what is kept."""
    edits = desk_of(asked).edits
    found = edits.find(series.id, desk)
    if found is not None:
        return found
    start, version = kept_edits(keeper_of(asked), series, block)
    return edits.begin(series.id, desk, start, version)


def case_of(keeper: Keeper, series: Image, asked: str | None) -> Case | None:
    """The case that findings on that series belong to: the asked one, else the first that fits."""
    fitting = [c for c in keeper.cases_of(series.person) if series.laterality.shows(c.side)]
    return next((c for c in fitting if c.code == asked), None) or next(iter(fitting), None)
