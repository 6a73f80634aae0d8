"""What travels between the Films screen and the server, checked at the door."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkKind
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side

SideName = Literal["left", "right"]
Number = Annotated[float, Field(allow_inf_nan=False)]
Key = tuple[str, SideName | None]

FEWEST = {LandmarkKind.POINT: 1, LandmarkKind.CIRCLE: 3, LandmarkKind.CONTOUR: 2}
"""Clicks below which a landmark is still being placed and does not count."""

MOST_CLICKS = 500


class Message(BaseModel):
    """Base: nothing unknown comes in."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Item(Message):
    """One landmark of one side: its place, or its clicks in order."""

    id: str
    side: SideName | None = None
    xy: Annotated[tuple[tuple[Number, Number], ...], Field(max_length=MOST_CLICKS)]
    sd: Number | None = None

    @property
    def key(self) -> Key:
        """What it is of which side."""
        return (self.id, self.side)


class Dropped(Message):
    """A landmark that is not placed any more."""

    id: str
    side: SideName | None = None


class Chosen(Message):
    """The measurement whose lines are drawn."""

    id: str
    side: SideName | None = None


class Moved(Message):
    """What has changed on the screen since the last message.

    ``all`` says that ``items`` are all there are. ``seq`` comes back with the answer.
    """

    seq: int
    items: tuple[Item, ...] = ()
    dropped: tuple[Dropped, ...] = ()
    chosen: Chosen | None = None
    all: bool = False

    def then(self, later: Moved) -> Moved:
        """Both messages as one, the later one winning."""
        if later.all:
            return later
        items = {item.key: item for item in self.items}
        gone = {(drop.id, drop.side): drop for drop in self.dropped}
        for drop in later.dropped:
            items.pop((drop.id, drop.side), None)
            gone[drop.id, drop.side] = drop
        for item in later.items:
            gone.pop(item.key, None)
            items[item.key] = item
        return Moved(
            seq=later.seq,
            items=tuple(items.values()),
            dropped=() if self.all else tuple(gone.values()),
            chosen=later.chosen,
            all=self.all,
        )


class Saved(Message):
    """A reading to be kept."""

    case: str
    observer: Annotated[str, Field(min_length=1, max_length=60)]
    reading: Annotated[int, Field(ge=1, le=99)]
    expected_version: Annotated[int, Field(ge=0)]
    items: tuple[Item, ...]


def landmark_set(
    items: tuple[Item, ...], *, image: str, observer: str, reading: int, catalog: Catalog
) -> LandmarkSet:
    """The finished landmarks among the items; what still lacks clicks is left out.

    Raises
    ------
    CatalogError
        A landmark is unknown.
    LandmarkError
        A landmark is there twice.
    """
    points: list[PlacedPoint] = []
    contours: list[PlacedContour] = []
    for item in items:
        kind = catalog.landmark(item.id).kind
        side = None if item.side is None else Side(item.side)
        if len(item.xy) < FEWEST[kind]:
            continue
        if kind is LandmarkKind.POINT:
            (x, y) = item.xy[0]
            points.append(PlacedPoint(id=item.id, side=side, x_px=x, y_px=y, sd_px=item.sd))
        else:
            contours.append(PlacedContour(id=item.id, side=side, xy_px=np.array(item.xy)))
    return LandmarkSet(
        image=image,
        observer=observer,
        reading=reading,
        points=tuple(points),
        contours=tuple(contours),
    )


def items_of(landmarks: LandmarkSet) -> list[Item]:
    """A kept reading as the screen takes it."""
    items = [
        Item(id=p.id, side=side_name(p.side), xy=((p.x_px, p.y_px),), sd=p.sd_px)
        for p in landmarks.points
    ]
    items += [
        Item(id=c.id, side=side_name(c.side), xy=tuple((x, y) for x, y in c.xy_px.tolist()))
        for c in landmarks.contours
    ]
    return items


def side_name(side: Side | None) -> SideName | None:
    """A side as it travels."""
    if side is None:
        return None
    return "left" if side is Side.LEFT else "right"
