"""Points and curves of a built hip bone."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from hipwright.phantoms.acetabular_form import lengths
from hipwright.phantoms.hip_bone_building import BuiltHipBone, sourcil_ends
from hipwright.phantoms.implicit import sample
from hipwright.phantoms.person_spec import HipSpec
from hipwright.phantoms.person_truth import PartTruth

Floats = NDArray[np.float64]

RIM_HOURS = np.arange(0.0, 12.0, 0.1)
_NOTCH_HOURS = (4.9, 6.4)
_CREST_SMOOTHING = 1.0  # tenths of an hour: the crest is flat, its place less sure than its height
_BESIDE_SYMPHYSIS_MM = 7.0
_ROOF_HALF_MM = (
    5.0  # the lateral rim is read on the roof: this far before and behind the head center
)


def rim_crest(bone: BuiltHipBone) -> Floats:
    """Return the crest of the bony rim at every tenth of an hour, shape ``(120, 3)``, mm.

    At each hour: the point of the bone that stands highest along the socket's axis
    within 7 mm of the socket's sphere.
    """
    form = bone.form
    edge = form.edge(RIM_HOURS)
    angle = edge[:, None, None] + np.radians(np.arange(-6.0, 26.0, 0.25))[:, None]
    radius = form.radius + np.arange(-0.5, 7.0, 0.1)
    angle, radius, hours = np.broadcast_arrays(angle, radius, RIM_HOURS[:, None, None])
    points = form.center + radius[..., None] * form.clock.direction(np.pi - angle, hours)
    inside = sample(bone.field, bone.grid, points) < 0.0
    height = np.where(inside, -np.cos(angle) * radius, -np.inf).reshape(len(RIM_HOURS), -1)
    best = height.argmax(axis=1)
    crest = points.reshape(len(RIM_HOURS), -1, 3)[np.arange(len(RIM_HOURS)), best]
    return gaussian_filter1d(crest, _CREST_SMOOTHING, axis=0, mode="wrap")


def _lowest_of_plate(bone: BuiltHipBone, y: float) -> Floats:
    """Return the lowest bone of the plate between fossa and pelvis in a frontal section."""
    form = bone.form
    x = form.center[0] + form.radius * np.linspace(-1.75, -0.35, 160)
    z = form.center[2] + form.radius * np.linspace(-1.25, 0.1, 180)
    section = np.empty((len(x), len(z), 3))
    section[..., 0], section[..., 1], section[..., 2] = x[:, None], y, z
    inside: NDArray[np.bool_] = np.less(sample(bone.field, bone.grid, section), 0.0)
    # walk down from the floor of the fossa; the plate ends where no bone follows below
    gaps = np.flatnonzero(~inside.any(axis=0))
    level = int(gaps[-1]) + 1 if len(gaps) else 0
    return np.array([float(x[inside[:, level]].mean()), y, float(z[level])])


def _extreme(points: Floats, direction: tuple[float, float, float]) -> Floats:
    return points[int((points @ np.asarray(direction)).argmax())]


def _between(points: Floats, axis: int, low: float, high: float) -> Floats:
    return points[(points[:, axis] > low) & (points[:, axis] < high)]


def _silhouette(points: Floats, levels: Floats, half: float) -> Floats:
    """Return the most medial point within ``half`` mm of each level that has one."""
    found = [_between(points, 2, z - half, z + half) for z in levels]
    return np.array([p[p[:, 0].argmin()] for p in found if len(p)])


def _anatomy(bone: BuiltHipBone) -> PartTruth:
    """Return landmarks told by where the bone reaches farthest."""
    p, center = bone.outer.vertices, bone.form.center
    z = center[2]
    brim = p[p[:, 1] < center[1] + 22.0]
    column = _between(p, 1, center[1] + 2.0, center[1] + 20.0)
    spine_zone = _between(_between(p, 2, z - 36.0, z + 6.0), 1, center[1] + 14.0, 1e9)
    pubis = p[(p[:, 2] < z - 5.0) & (p[:, 0] < 0.6 * center[0])]
    return PartTruth(
        points={
            "anterior_superior_iliac_spine": _extreme(p[p[:, 2] > z + 45.0], (0.15, -1.0, -0.2)),
            "anterior_inferior_iliac_spine": _extreme(
                _between(p, 2, z + 16.0, z + 42.0), (0.2, -1.0, -0.35)
            ),
            "pubic_tubercle": _extreme(pubis, (0.0, -1.0, 0.25)),
            "ischial_spine_tip": _extreme(spine_zone, (-1.0, 0.45, 0.0)),
            "symphysis_superior": _extreme(p[p[:, 0] < _BESIDE_SYMPHYSIS_MM], (0.0, 0.0, 1.0))
            * [0.0, 1.0, 1.0],
        },
        curves={
            "pelvic_brim": _silhouette(brim, np.arange(z - 8.0, z + 44.0, 2.0), 1.0),
            "ilioischial_line": _silhouette(column, np.arange(z - 26.0, z + 8.0, 2.0), 1.0),
        },
    )


def smallest_gap_mm(bone: BuiltHipBone, spec: HipSpec) -> float:
    """Return the smallest distance from the head's sphere to the articular surface, mm."""
    form = bone.form
    hours = np.arange(0.0, 12.0, 0.1)
    share = np.linspace(0.02, 1.0, 200)
    angle = share[:, None] * form.edge(hours)
    points = form.center + form.radius * form.clock.direction(np.pi - angle, hours)
    articular = form.fossa_inside_deg(points) < 0.0
    head = form.center + np.asarray(spec.head_shift_mm)
    return float(lengths(points[articular] - head).min() - spec.head_radius_mm)


def pelvic_truth(bone: BuiltHipBone, spec: HipSpec) -> PartTruth:
    """Return the points and curves of a hip bone, in the frame in which it was built."""
    form = bone.form
    head = form.center + np.asarray(spec.head_shift_mm)
    lateral, medial = sourcil_ends(spec, form.center)
    crest = rim_crest(bone)
    roof_part = (np.abs(crest[:, 1] - head[1]) < _ROOF_HALF_MM) & (crest[:, 2] > head[2])
    top = int(np.where(roof_part, crest[:, 0], -np.inf).argmax())
    hours = np.roll(RIM_HOURS, -top)
    rolled = np.roll(crest, -top, axis=0)
    after = (hours - hours[0]) % 12.0
    to_notch = (_NOTCH_HOURS[0] - hours[0]) % 12.0
    past_notch = (_NOTCH_HOURS[1] - hours[0]) % 12.0
    anatomy = _anatomy(bone)
    section = np.linspace(-1.0, 1.0, 41)
    start, end = (
        np.arctan2(e[0] - form.center[0], e[2] - form.center[2]) for e in (lateral, medial)
    )
    turn = (start + end) / 2 + section * (start - end) / 2
    circle = np.hypot(lateral[0] - form.center[0], lateral[2] - form.center[2])
    roof = np.stack(
        [
            form.center[0] + circle * np.sin(turn),
            np.full_like(turn, head[1]),
            form.center[2] + circle * np.cos(turn),
        ],
        axis=1,
    )
    fossa_y = float(form.center[1] + form.radius * form.fossa_direction[1])
    return PartTruth(
        points=dict(anatomy.points)
        | {
            "socket_center": form.center,
            "sourcil_lateral_edge": lateral,
            "sourcil_medial_edge": medial,
            "acetabular_rim_lateral": crest[top],
            "teardrop_inferior": _lowest_of_plate(bone, fossa_y),
        },
        curves=dict(anatomy.curves)
        | {
            "rim": crest,
            "articular_edge": form.edge_points(RIM_HOURS),
            "anterior_rim": rolled[after <= to_notch],
            "posterior_rim": np.concatenate([rolled[:1], rolled[after >= past_notch][::-1]]),
            "acetabular_roof": roof[::-1],
        },
    )
