"""Which arriving images the workspace has already, so that an import can be repeated."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from hipwright.domain.keeping import Image, Rejected
from hipwright.workflows.ports import ArrivingImage, Dock, Keeper

OTHER_PIXELS = (
    "The workspace has an image with the same SOP Instance UID but other pixels: one of the two "
    "was changed after it was made. Nothing was replaced."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Arriving images, parted by what the workspace has of them.

    ``completing`` pairs a kept series with an arriving one that holds all its
    slices and more.
    """

    new: tuple[ArrivingImage, ...] = ()
    completing: tuple[tuple[Image, ArrivingImage], ...] = ()
    already_here: int = 0
    rejected: tuple[Rejected, ...] = ()


@dataclass(slots=True)
class _Sorting:
    new: list[ArrivingImage] = field(default_factory=list["ArrivingImage"])
    completing: list[tuple[Image, ArrivingImage]] = field(
        default_factory=list["tuple[Image, ArrivingImage]"]
    )
    already_here: int = 0
    rejected: list[Rejected] = field(default_factory=list["Rejected"])


def known_images(arriving: Iterable[ArrivingImage], keeper: Keeper, dock: Dock) -> Known:
    """Tell new images from those that are here, by their UIDs and their pixels."""
    sorting = _Sorting()
    for one in arriving:
        _sort(one, keeper, dock, sorting)
    return Known(
        new=tuple(sorting.new),
        completing=tuple(sorting.completing),
        already_here=sorting.already_here,
        rejected=tuple(sorting.rejected),
    )


def _sort(one: ArrivingImage, keeper: Keeper, dock: Dock, sorting: _Sorting) -> None:
    if one.study.source_uid and keeper.study_from(one.study.source_uid) is None:
        sorting.new.append(one)  # nothing of the study is here, so no image is
        return
    uids = one.image.source_uids
    here: dict[str, Image] = {}
    for uid in uids:
        found = keeper.images_from(uid)
        if found:
            here[uid] = found[0]
    if not here:
        sorting.new.append(one)
        return
    changed = [
        name
        for uid, name in _named(one)
        if uid in here and _differs(uid, one, here[uid], keeper, dock)
    ]
    if changed:
        sorting.rejected.extend(Rejected(file=name, reason=OTHER_PIXELS) for name in changed)
        return
    old = next(iter(here.values()))
    if set(uids) <= set(here):
        sorting.already_here += 1
    elif set(old.source_uids) <= set(uids):
        sorting.completing.append((old, one))
    else:
        sorting.new.append(one)


def _named(one: ArrivingImage) -> list[tuple[str, str]]:
    names = one.names or ("an image",) * len(one.image.source_uids)
    return list(zip(one.image.source_uids, names, strict=True))


def _differs(uid: str, one: ArrivingImage, old: Image, keeper: Keeper, dock: Dock) -> bool:
    arriving = one.contents[one.image.source_uids.index(uid)]
    kept = keeper.get_file(old.files[old.source_uids.index(uid)])
    if arriving == kept:
        return False
    return dock.identify(arriving).pixels_sha256 != dock.identify(kept).pixels_sha256
