"""Small CT volumes of simple hips and knees, given by distances, for tests of the labels."""

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from hipwright.domain.anatomy import Bone
from hipwright.domain.volume import Volume, VolumeGrid

SPACING = np.array([1.3, 1.2, 1.2])  # z, y, x
RADIUS = 23.0
HEADS = {
    Bone.FEMUR_RIGHT: np.array([-88.0, 0.0, 0.0]),
    Bone.FEMUR_LEFT: np.array([88.0, 0.0, 0.0]),
}
AIR, SOFT, MARROW, CORTEX = -1000.0, 45.0, 280.0, 1250.0


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Values with their truth; ``low`` is the place of the first voxel (x, y, z)."""

    values: np.ndarray
    truth: np.ndarray
    low: np.ndarray
    spacing: np.ndarray

    def volume(self) -> Volume:
        steps = np.diag(self.spacing)[:, ::-1]
        grid = VolumeGrid(
            shape=self.values.shape, origin_mm=self.low, steps_mm=steps, fixed_to="test"
        )
        return Volume(values=self.values, grid=grid)

    def cropped(self, low_mm: np.ndarray, high_mm: np.ndarray) -> "Scene":
        first = np.rint((low_mm - self.low)[::-1] / self.spacing).astype(int).clip(0)
        last = np.rint((high_mm - self.low)[::-1] / self.spacing).astype(int)
        box = tuple(slice(a, b) for a, b in zip(first, last, strict=True))
        return replace(
            self,
            values=np.ascontiguousarray(self.values[box]),
            truth=self.truth[box],
            low=self.low + (first * self.spacing)[::-1],
        )


def rod(p: np.ndarray, a: np.ndarray, b: np.ndarray, radius: float) -> np.ndarray:
    along = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.linalg.norm(p - a - along[..., None] * (b - a), axis=-1) - radius


def slab(p: np.ndarray, center: np.ndarray, half: np.ndarray) -> np.ndarray:
    off = np.abs(p - center) - half
    return np.linalg.norm(np.maximum(off, 0), axis=-1) + np.minimum(off.max(axis=-1), 0)


def hip_fields(points: np.ndarray, gap_mm: float) -> dict[Bone, np.ndarray]:
    """Signed distances of the bones; the left ones are the right ones in the mirror."""
    middle = points.shape[2] // 2
    half = _right_fields(points[:, :, :middle], gap_mm)
    fields: dict[Bone, np.ndarray] = {}
    for bone, field in half.items():
        other = Bone(bone.value.replace("right", "left"))
        whole = np.full(points.shape[:3], 1e3)
        whole[:, :, :middle] = field
        if bone is other:
            whole[:, :, middle:] = field[:, :, ::-1]
        else:
            fields[other] = whole[:, :, ::-1]
        fields[bone] = whole
    return fields


def _right_fields(points: np.ndarray, gap_mm: float) -> dict[Bone, np.ndarray]:
    fields: dict[Bone, np.ndarray] = {}
    for femur, head in [(Bone.FEMUR_RIGHT, HEADS[Bone.FEMUR_RIGHT])]:
        out = np.sign(head[0])
        p = (points - head) * [out, 1, 1]
        ball = np.linalg.norm(p, axis=-1)
        base = np.array([38.0, 8.0, -30.0])
        bone = np.minimum(ball - RADIUS, rod(p, np.zeros(3), base, 13.0))
        bone = np.minimum(bone, rod(p, base, base + np.array([4.0, 0, -90.0]), 14.0))
        fields[femur] = np.minimum(bone, rod(p, base, base + np.array([16.0, 4, 18.0]), 11.0))
        toward = p @ np.array([-0.66, 0.1, 0.75])
        cup = np.maximum(ball - RADIUS - gap_mm - 6.0, RADIUS + gap_mm - ball)
        cup = np.maximum(cup, -toward)
        wing = rod(p, np.array([-16.0, 4, 26]), np.array([-20.0, 14, 100]), 8.0)
        wing = np.minimum(wing, rod(p, np.array([-18.0, 8, 60]), np.array([-40.0, 58, 66]), 8.0))
        pubis = rod(p, np.array([-28.0, -8, -6]), np.array([-81.0, -22, -30]), 7.0)
        ischium = rod(p, np.array([-20.0, 22, -4]), np.array([-24.0, 30, -52]), 8.0)
        whole = np.minimum(np.minimum(cup, wing), np.minimum(pubis, ischium))
        hip_bone = Bone(femur.value.replace("femur", "hip_bone"))
        fields[hip_bone] = np.maximum(whole, RADIUS + gap_mm - ball)
    sacrum = slab(points, np.array([0.0, 62, 66]), np.array([30.0, 11, 32])) - 6.0
    right = Bone.HIP_BONE_RIGHT
    fields[right] = np.maximum(fields[right], 1.8 - sacrum)
    fields[Bone.SACRUM] = sacrum
    return fields


def scene_of(
    fields: dict[Bone, np.ndarray],
    body: np.ndarray,
    low: np.ndarray,
    spacing: np.ndarray,
    seed: int,
) -> Scene:
    """HU of bones in a body: cortex of 1.8 mm, marrow, blur and noise."""
    values = np.where(body, SOFT, AIR)
    truth = np.zeros(body.shape, np.uint8)
    for bone, field in fields.items():
        outside = np.clip(0.5 - field / 1.2, 0, 1)
        inside = np.clip(0.5 - (field + 1.8) / 1.2, 0, 1)
        values = values + outside * (CORTEX - SOFT) + inside * (MARROW - CORTEX)
        truth[field < 0] = bone.code
    values = ndimage.gaussian_filter(values, [0, *(0.5 / spacing[1:])])
    values += np.random.default_rng(seed).normal(0, 14, values.shape)
    return Scene(values=np.rint(values).astype(np.int16), truth=truth, low=low, spacing=spacing)


def grid_points(low: np.ndarray, high: np.ndarray, spacing: np.ndarray) -> np.ndarray:
    counts = [2 * round((b - a) / s / 2) for a, b, s in zip(low, high, spacing[::-1], strict=True)]
    axes = [a + s * np.arange(n) for a, s, n in zip(low[::-1], spacing, counts[::-1], strict=True)]
    z, y, x = np.meshgrid(*axes, indexing="ij")
    return np.stack([x, y, z], axis=-1)


def hips_scene(*, gap_mm: float = 3.0, seed: int = 4, spacing: np.ndarray = SPACING) -> Scene:
    """Both hips with a sacrum in a body, and a table below it."""
    low, high = np.array([-168.0, -80.0, -84.0]), np.array([168.0, 118.0, 122.0])
    low[0] += spacing[2] / 2  # even about the midline
    points = grid_points(low, high, spacing).astype(np.float32)
    body = (points[..., 0] / 164) ** 2 + ((points[..., 1] - 15) / 88) ** 2 < 1
    table = np.abs(points[..., 1] - 112) < 3
    return scene_of(hip_fields(points, gap_mm), body | table, low, spacing, seed)


def one_hip_scene(*, gap_mm: float = 3.0, spacing: np.ndarray = SPACING, seed: int = 6) -> Scene:
    """The right hip alone in a field inside the body."""
    head = HEADS[Bone.FEMUR_RIGHT]
    low, high = head + np.array([-66.0, -58, -78]), head + np.array([62.0, 58, 62])
    points = grid_points(low, high, spacing).astype(np.float32)
    fields = _right_fields(points, gap_mm)
    body = (points[..., 0] / 164) ** 2 + ((points[..., 1] - 15) / 88) ** 2 < 1
    return scene_of(fields, body, low, spacing, seed)


def knee_scene() -> Scene:
    """Two knees: condyles close over plateaus, kneecap and fibula beside them."""
    low, high = np.array([-150.0, -60.0, -70.0]), np.array([150.0, 60.0, 70.0])
    spacing = np.array([1.5, 1.2, 1.2])
    points = grid_points(low, high, spacing)
    fields: dict[Bone, np.ndarray] = {}
    body = np.zeros(points.shape[:3], bool)
    other = np.full(points.shape[:3], 1e3)
    for side, x in (("right", -80.0), ("left", 80.0)):
        p = (points - [x, 0, 0]) * [np.sign(x), 1, 1]
        femur = rod(p, np.array([0.0, 0, 30]), np.array([0.0, 0, 90]), 14.0)
        for c in (-20.0, 20.0):
            femur = np.minimum(
                femur, rod(p, np.array([c, -6.0, 20]), np.array([c, 10.0, 20]), 17.0)
            )
        fields[Bone(f"femur_{side}")] = femur
        plateau = slab(p, np.array([0.0, 0, -9]), np.array([30.0, 18, 4])) - 4.0
        tibia = np.minimum(plateau, rod(p, np.array([0.0, 0, -20]), np.array([0.0, 0, -90]), 14.0))
        fields[Bone(f"tibia_{side}")] = tibia
        fibula = rod(p, np.array([30.0, 16, -30]), np.array([28.0, 16, -90]), 5.5)
        cap = np.linalg.norm((p - [0, -36, 20]) / [1, 0.6, 1], axis=-1) - 14.0
        other = np.minimum(other, np.minimum(fibula, cap))
        body |= (p[..., 0] ** 2 + p[..., 1] ** 2) < 58.0**2
    fields[Bone.OTHER] = other
    return scene_of(fields, body, low, spacing, 7)


def dice(found: np.ndarray, truth: np.ndarray, bone: Bone) -> float:
    a, b = found == bone.code, truth == bone.code
    return float(2 * (a & b).sum() / max(int(a.sum() + b.sum()), 1))
