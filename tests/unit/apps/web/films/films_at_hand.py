"""A film and landmarks of both hips, for the tests of the Films screen's Python part."""

import math

from hipwright.apps.web.films.messages import Item, SideName
from hipwright.domain.keeping import Image, ImageKind, Laterality
from hipwright.domain.study import Calibration, Posture, SpacingSource, View

HEADS: dict[SideName, tuple[float, float]] = {"right": (600.0, 900.0), "left": (1800.0, 910.0)}
RADIUS = 150.0


def pelvis(*, calibrated: bool = True, row_mm: float = 0.16) -> Image:
    scale = Calibration(
        column_mm=0.16, row_mm=row_mm, source=SpacingSource.ASSUMED, relative_sd=0.025
    )
    return Image(
        id="film-1",
        study="study-1",
        person="person-1",
        kind=ImageKind.FILM,
        modality="DX",
        view=View.PELVIS_AP,
        laterality=Laterality.BOTH,
        posture=Posture.STANDING,
        calibration=scale if calibrated else Calibration.uncalibrated(),
        columns=2400,
        rows=2000,
        files=("0" * 64,),
        acquired_on=None,
    )


def circle(side: SideName, clicks: int = 6) -> Item:
    x, y = HEADS[side]
    turn = [2 * math.pi * i / clicks for i in range(clicks)]
    xy = tuple((x + RADIUS * math.cos(a), y + RADIUS * math.sin(a)) for a in turn)
    return Item(id="femoral_head", side=side, xy=xy)


def point(landmark: str, side: SideName | None, lateral: float, down: float) -> Item:
    """A point so far lateral of, and below, that side's head center."""
    x, y = HEADS[side or "left"]
    way = 1 if side == "left" else -1
    return Item(id=landmark, side=side, xy=((x + way * lateral, y + down),))


def both_hips() -> list[Item]:
    items: list[Item] = []
    for side in HEADS:
        items += [
            circle(side),
            point("sourcil_lateral_edge", side, 90, -160),
            point("sourcil_medial_edge", side, -100, -140),
            point("acetabular_rim_lateral", side, 120, -140),
            point("teardrop_inferior", side, -190, 170),
            point("femoral_neck_superior", side, 170, 60),
            point("femoral_neck_inferior", side, 70, 180),
            point("alpha_onset", side, 140, -60),
        ]
    return items
