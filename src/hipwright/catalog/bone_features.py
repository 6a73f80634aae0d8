"""What measurements in space are built from: points, axes, curves and maps of the bones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Any

from hipwright.domain.errors import CatalogError


class FeatureKind(Enum):
    """How a feature is drawn on the bone."""

    POINT = "point"
    SPHERE = "sphere"
    AXIS = "axis"
    PLANE = "plane"
    CURVE = "curve"
    MAP = "map"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneFeature:
    """Something found on a bone model.

    ``movable`` points are shown with a handle and may be placed by a reader; ``sd_mm`` is
    how far they lie from where a reader would place them (one standard deviation a
    direction). A ``midline`` feature belongs to both hips.
    """

    id: str
    name: str
    kind: FeatureKind
    bone: str
    definition: str
    midline: bool = False
    movable: bool = False
    sd_mm: float = 0.0
    sd_cite: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.movable and (self.kind is not FeatureKind.POINT or self.sd_mm <= 0):
            raise CatalogError(
                f"cannot use the bone feature {self.id}",
                found=f"a movable {self.kind.value} with a spread of {self.sd_mm} mm",
                needed="a point with a positive spread",
                next_step="Correct bone_features.toml.",
            )


def bone_features_from(table: Mapping[str, Any]) -> Mapping[str, BoneFeature]:
    """Make the features from their TOML table, by id."""
    rows = (
        BoneFeature(
            id=row["id"],
            name=row["name"],
            kind=FeatureKind(row["kind"]),
            bone=row["bone"],
            definition=row["definition"],
            midline=row.get("midline", False),
            movable=row.get("movable", False),
            sd_mm=float(row.get("sd_mm", 0.0)),
            sd_cite=tuple(row.get("sd_cite", ())),
        )
        for row in table["feature"]
    )
    return MappingProxyType({row.id: row for row in rows})
