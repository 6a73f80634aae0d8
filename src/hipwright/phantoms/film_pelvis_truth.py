"""Places on the pelvis that a film defines by its own directions."""

import numpy as np
from skimage.measure import label, regionprops

from hipwright.domain.side import Side
from hipwright.phantoms.cortex import vertex_normals
from hipwright.phantoms.film_bodies import Bone
from hipwright.phantoms.film_outlines import resampled, shadow_of
from hipwright.phantoms.film_simulator import SimulatedFilm
from hipwright.phantoms.person_truth import HipTruth
from hipwright.phantoms.projection import Array
from hipwright.phantoms.surfaces import TriangleSurface

_BELOW_HEAD_MM, _MEDIAL_OF_HEAD_MM = 42.0, 45.0
_FORAMEN_HALF_MM = 60.0
_SMALLEST_FORAMEN_MM2 = 150.0
_CORNER_MM = 1.5
_LEVELS_MM = np.arange(-9.0, 8.0, 3.0)
_SLAB_MM = 1.6


def most_lateral_px(places: Array, side: Side) -> Array:
    """Give the place farthest from the midline on an AP film."""
    outward = 1.0 if side is Side.LEFT else -1.0
    return places[(outward * places[:, 0]).argmax()]


def fossa_floor_mm(hip_bone: TriangleSurface, hip: HipTruth) -> Array:
    """Give the most medial bone facing the socket's center, level by level, shape (n, 3)."""
    center = hip.pelvis.points["socket_center"]
    inward = -1.0 if hip.side is Side.LEFT else 1.0
    offset = hip_bone.vertices - center
    faces_center = np.einsum("ij,ij->i", vertex_normals(hip_bone), offset) < 0
    near = np.linalg.norm(offset, axis=1) < 1.45 * hip.socket_radius_mm
    middle = np.abs(offset[:, 1]) < 0.55 * hip.socket_radius_mm
    medial = offset[:, 0] * inward > 0.5 * hip.socket_radius_mm
    wall = offset[faces_center & near & middle & medial]
    floor: list[Array] = []
    for level in _LEVELS_MM:
        slab = wall[np.abs(wall[:, 2] - level) < _SLAB_MM]
        if len(slab):
            floor.append(center + slab[(slab[:, 0] * inward).argmax()])
    return np.array(floor)


def foramen_px(
    hip_bone: Bone, film: SimulatedFilm, hip: HipTruth
) -> tuple[Array, Array, Array] | None:
    """Give the medial and lateral edge of the obturator foramen and its upper outline.

    The upper outline begins nearest to the femoral neck. ``None`` where the
    bone encloses no foramen on this film.
    """
    inward = -1.0 if hip.side is Side.LEFT else 1.0
    shift = np.array([inward * _MEDIAL_OF_HEAD_MM, 0.0, -_BELOW_HEAD_MM])
    middle = film.project(hip.head_center + shift)[0]
    half = _FORAMEN_HALF_MM * film.magnification
    pose = film.poses[hip_bone.part]
    shadow = shadow_of(hip_bone, pose, film.beam, middle_px=middle, half_mm=half)
    holes = label(~shadow.mask, connectivity=1)
    border = np.unique(np.concatenate([holes[0], holes[-1], holes[:, 0], holes[:, -1]]))
    fine_mm = shadow.step_px * film.setup.pixel_mm / film.magnification
    found = [
        region
        for region in regionprops(holes)
        if region.label not in border and region.area * fine_mm**2 > _SMALLEST_FORAMEN_MM2
    ]
    if not found:
        return None
    hole = max(found, key=lambda region: region.area)
    rows, columns = np.nonzero(holes == hole.label)
    medial_is_less = hip.side is Side.LEFT
    widest, width = 0, -1
    for row in np.unique(rows):
        across = columns[rows == row]
        if np.ptp(across) > width:
            widest, width = int(row), int(np.ptp(across))
    across = columns[rows == widest]
    ends = [(float(across.min()) - 0.5, float(widest)), (float(across.max()) + 0.5, float(widest))]
    medial, lateral = ends if medial_is_less else ends[::-1]
    seen = np.unique(columns)
    highest = [rows[columns == column].min() - 0.5 for column in seen]
    arc = np.column_stack([seen, highest]).astype(np.float64)
    # upper outline only: down to the level of the widest place, from the neck's side
    arc = arc[arc[:, 1] < widest]
    arc = _from_the_corner(arc if not medial_is_less else arc[::-1], round(_CORNER_MM / fine_mm))

    def px(fine: Array) -> Array:
        return shadow.first_px + np.asarray(fine) * shadow.step_px

    return px(np.array(medial)), px(np.array(lateral)), px(resampled(arc, 9))


def _from_the_corner(arc: Array, reach: int) -> Array:
    """Leave out where the outline turns down, by more than 45°, into the foramen's lateral side.

    ``arc`` begins there, a pixel a step; ``reach`` is over how many pixels it is looked at.
    """
    top = int(arc[:, 1].argmin())
    ahead = np.minimum(np.arange(top) + reach, top)
    falls = np.flatnonzero(arc[:top, 1] - arc[ahead, 1] > reach)
    return arc[ahead[falls[-1]] if len(falls) else 0 :]


def anterior_ends_px(film: SimulatedFilm, hip: HipTruth) -> tuple[Array, Array]:
    """Give the anterior end of the sourcil and the most anterior point of the rim, false profile.

    The sourcil ends where the edge of the joint surface crosses the plane
    through the head center parallel to the film; the rim's point is the one
    farthest forward on the film, above the head center.
    """
    beam, head = film.beam, hip.head_center
    front = 1.0 if film.beam.column_axis @ np.array([0.0, -1.0, 0.0]) > 0 else -1.0
    edge = hip.pelvis.curves["articular_edge"]
    closed = np.vstack([edge, edge[:1]])
    depth = (closed - head) @ beam.direction
    crossing = np.flatnonzero(depth[:-1] * depth[1:] <= 0)
    share = depth[crossing] / (depth[crossing] - depth[crossing + 1])
    places = closed[crossing] + share[:, None] * (closed[crossing + 1] - closed[crossing])
    forward = front * ((places - head) @ beam.column_axis)
    sourcil = film.project(places[forward.argmax()])[0]
    rim = hip.pelvis.curves["rim"]
    high = rim[(rim - head) @ -beam.row_axis > 0]
    seen = film.project(high)
    return sourcil, seen[(front * seen[:, 0]).argmax()]
