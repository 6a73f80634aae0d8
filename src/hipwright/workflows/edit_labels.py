"""Keep what a reader paints, cuts and seeds in the labels of a series."""

from __future__ import annotations

from dataclasses import dataclass

from hipwright.domain.keeping_bones import KeptEdits
from hipwright.domain.volume import LabelEdits
from hipwright.workflows.bone_ports import BoneFiles
from hipwright.workflows.ports import Clock, WorkspaceKeeper


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EditsNow:
    """The newest edits of a series; ``kept`` is ``None`` where nobody has edited yet."""

    kept: KeptEdits | None
    edits: LabelEdits

    @property
    def version(self) -> int:
        """The version to save on top of."""
        return self.kept.version if self.kept else 0


def edits_now(
    keeper: WorkspaceKeeper, files: BoneFiles, image: str, shape: tuple[int, int, int]
) -> EditsNow:
    """Read the newest edits of a series whose hip block has that shape."""
    kept = keeper.label_edits_of(image)
    if kept is None:
        return EditsNow(kept=None, edits=LabelEdits.none(shape))
    return EditsNow(kept=kept, edits=files.edits(keeper.get_file(kept.edits_file)))


def save_edits(
    keeper: WorkspaceKeeper,
    files: BoneFiles,
    image: str,
    edits: LabelEdits,
    *,
    by: str,
    expected_version: int,
    clock: Clock,
) -> KeptEdits:
    """Keep a further version of the edits of a series.

    Raises
    ------
    StaleWriteError
        Somebody else has saved edits since.
    """
    offered = KeptEdits(
        image=image,
        edits_file=keeper.put_file(files.edits_bytes(edits)),
        by=by,
        version=expected_version + 1,
        saved_at=clock.now(),
    )
    with keeper.transaction(by=by):
        return keeper.save_label_edits(offered, expected_version=expected_version)
