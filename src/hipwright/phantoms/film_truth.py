"""The landmarks of a simulated film, from what is known of the person in space."""

from collections.abc import Iterator, Mapping

import numpy as np
from scipy.ndimage import median_filter

from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.film_bodies import Bone, Part
from hipwright.phantoms.film_femur_truth import FemurReading, read_femur
from hipwright.phantoms.film_marks import BALL_RADIUS_MM
from hipwright.phantoms.film_outlines import resampled, shadow_of, sphere_outline_px
from hipwright.phantoms.film_pelvis_truth import (
    anterior_ends_px,
    foramen_px,
    fossa_floor_mm,
    most_lateral_px,
)
from hipwright.phantoms.film_people import DEFAULT_SCARS, physeal_scar_ends_mm
from hipwright.phantoms.film_simulator import SimulatedFilm
from hipwright.phantoms.people import Person
from hipwright.phantoms.person_truth import HipTruth
from hipwright.phantoms.projection import Array

OBSERVER = "simulator:truth"

_HEAD_CLICKS_DEG = np.linspace(88.0, 272.0, 11)  # from the neck's axis: the round part
_AROUND_HIP_MM = 75.0
_LINES_READ_DOWNWARD = {"pelvic_brim", "ilioischial_line"}
_RIM_DOWN_TO = {"anterior_rim": 0.55, "posterior_rim": 0.85}  # head radii below its center
_MARGIN_MM = 12.0

Item = PlacedPoint | PlacedContour


def film_landmarks(
    person: Person,
    film: SimulatedFilm,
    *,
    image: str,
    scar_slopes_deg: Mapping[Side, float] = DEFAULT_SCARS,
) -> LandmarkSet:
    """Give what a perfect reader would place on a film, in ``film_px``.

    Parameters
    ----------
    person
        Whose film it is.
    film
        As simulated from that person's bones.
    image
        Id of the film in the landmark set.
    scar_slopes_deg
        As given to :func:`hipwright.phantoms.film_people.skeleton_of`.

    Notes
    -----
    Points told in space are projected. The head is the shadow of its sphere;
    neck, bump and Shenton's line come from the traced outline of the femur;
    places that a film defines by its own directions (most lateral, most
    anterior, the obturator foramen) are searched on the film. A false profile shows
    the other head too. Whatever falls outside the film is left out.
    """
    sides = list(Side) if film.setup.view is View.PELVIS_AP else [film.setup.side or Side.RIGHT]
    items: list[Item] = []
    for side in sides:
        hip = person.truth.hip(side)
        items += _femoral(person, film, hip)
        if film.setup.view is View.PELVIS_AP:
            items += _pelvic_ap(person, film, hip)
            if side in scar_slopes_deg:
                items += _scar(film, hip, scar_slopes_deg[side])
        elif film.setup.view is View.FALSE_PROFILE:
            items += _false_profile(film, hip)
            items += _femoral(person, film, person.truth.hip(side.opposite))
    if film.setup.view is View.PELVIS_AP:
        items += [
            _point(name, None, film.project(place)[0])
            for name, place in person.truth.midline.points.items()
        ]
    if film.ball_center_mm is not None:
        outline = sphere_outline_px(film.beam, film.ball_center_mm, BALL_RADIUS_MM, 9)
        items.append(PlacedContour(id="calibration_ball", side=None, xy_px=outline))
    seen = [item for item in items if _within(item, film)]
    return LandmarkSet(
        image=image,
        observer=OBSERVER,
        points=tuple(item for item in seen if isinstance(item, PlacedPoint)),
        contours=tuple(item for item in seen if isinstance(item, PlacedContour)),
    )


def _point(name: str, side: Side | None, place: Array) -> PlacedPoint:
    return PlacedPoint(id=name, side=side, x_px=float(place[0]), y_px=float(place[1]))


def _within(item: Item, film: SimulatedFilm) -> bool:
    xy = np.array([[item.x_px, item.y_px]]) if isinstance(item, PlacedPoint) else item.xy_px
    rows, columns = film.pixels.shape
    return bool((xy >= 0).all() and (xy[:, 0] < columns).all() and (xy[:, 1] < rows).all())


def _bone(person: Person, name: str, part: Part) -> Bone:
    bone = person.bones[name]
    return Bone(name=name, part=part, outer=bone.outer)


def femur_reading(person: Person, film: SimulatedFilm, hip: HipTruth) -> FemurReading:
    """Read head, neck and bump off the traced outline of one femur."""
    part = Part.femur(hip.side)
    center, radius = head_circle_px(film, hip)
    scale = film.beam.magnification(hip.head_center) / film.setup.pixel_mm
    neck = film.project(hip.femur.points["neck_isthmus"], part)[0]
    half = _AROUND_HIP_MM * film.magnification
    bone = _bone(person, f"femur_{hip.side}", part)
    shadow = shadow_of(bone, film.poses[part], film.beam, middle_px=center, half_mm=half)
    return read_femur(
        shadow.outlines()[0],
        center_px=center,
        neck_px=neck,
        radius_mm=radius / scale,
        px_per_mm=scale,
    )


def head_circle_px(film: SimulatedFilm, hip: HipTruth) -> tuple[Array, float]:
    """Give center and radius of the head's shadow on the film, pixels."""
    outline = sphere_outline_px(film.beam, hip.head_center, hip.head_radius_mm)
    center = outline.mean(axis=0)
    return center, float(np.linalg.norm(outline - center, axis=1).mean())


def _femoral(person: Person, film: SimulatedFilm, hip: HipTruth) -> Iterator[Item]:
    side, part = hip.side, Part.femur(hip.side)
    center, radius = head_circle_px(film, hip)
    neck = film.project(hip.femur.points["neck_isthmus"], part)[0] - center
    start = np.arctan2(neck[1], neck[0])
    turn = start + np.radians(_HEAD_CLICKS_DEG)
    clicks = center + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    yield PlacedContour(id="femoral_head", side=side, xy_px=clicks)
    if film.setup.view is View.FALSE_PROFILE:
        return
    reading = femur_reading(person, film, hip)
    yield _point("femoral_neck_superior", side, reading.neck_superior)
    yield _point("femoral_neck_inferior", side, reading.neck_inferior)
    if reading.base_superior is not None and reading.base_inferior is not None:
        yield _point("femoral_neck_base_superior", side, reading.base_superior)
        yield _point("femoral_neck_base_inferior", side, reading.base_inferior)
    if reading.onset is not None:
        yield _point("alpha_onset", side, reading.onset)
    yield PlacedContour(id="head_neck_contour", side=side, xy_px=reading.head_neck)
    if film.setup.view is not View.PELVIS_AP:
        return
    yield PlacedContour(id="shenton_neck_arc", side=side, xy_px=reading.neck_arc)
    yield from _shaft(film, hip)
    yield PlacedContour(id="femoral_head_roof", side=side, xy_px=_under_the_roof(film, hip))


def _shaft(film: SimulatedFilm, hip: HipTruth) -> Iterator[Item]:
    """Two points of the shaft's axis; the lower one as far down as the film shows it."""
    part = Part.femur(hip.side)
    upper, lower = (
        film.project(hip.femur.points[name], part)[0]
        for name in ("femoral_shaft_proximal", "femoral_shaft_distal")
    )
    last_row = film.pixels.shape[0] - 1 - _MARGIN_MM / film.setup.pixel_mm
    if lower[1] > last_row > upper[1]:
        lower = upper + (lower - upper) * (last_row - upper[1]) / (lower[1] - upper[1])
    yield _point("femoral_shaft_proximal", hip.side, upper)
    yield _point("femoral_shaft_distal", hip.side, lower)


def _under_the_roof(film: SimulatedFilm, hip: HipTruth) -> Array:
    """Give the head's outline between the directions of both ends of the sourcil."""
    center, radius = head_circle_px(film, hip)
    ends = [
        film.project(hip.pelvis.points[name])[0] - center
        for name in ("sourcil_lateral_edge", "sourcil_medial_edge")
    ]
    first, last = (np.arctan2(-end[1], end[0]) for end in ends)
    turn = np.linspace(float(first), float(last), 12)
    return center + radius * np.column_stack([np.cos(turn), -np.sin(turn)])


def _smooth(line: Array) -> Array:
    """Order a line from above and take out single stray points."""
    ordered = line[np.argsort(line[:, 1], kind="stable")]
    column: Array = np.asarray(median_filter(ordered[:, 0], size=5, mode="nearest"))
    return np.column_stack([column, ordered[:, 1]])


def _pelvic_ap(person: Person, film: SimulatedFilm, hip: HipTruth) -> Iterator[Item]:
    side = hip.side
    for name in (
        "sourcil_lateral_edge",
        "sourcil_medial_edge",
        "teardrop_inferior",
        "ischial_spine_tip",
    ):
        yield _point(name, side, film.project(hip.pelvis.points[name])[0])
    rim = film.project(hip.pelvis.curves["rim"])
    yield _point("acetabular_rim_lateral", side, most_lateral_px(rim, side))
    yield from _rims(film, hip)
    for name, count in (
        ("pelvic_brim", 8),
        ("ilioischial_line", 8),
        ("acetabular_roof", 12),
    ):
        line = film.project(hip.pelvis.curves[name])
        if name in _LINES_READ_DOWNWARD:
            line = _smooth(line)
        yield PlacedContour(id=name, side=side, xy_px=resampled(line, count))
    hip_bone = _bone(person, f"hip_bone_{side}", Part.PELVIS)
    floor = film.project(fossa_floor_mm(hip_bone.outer, hip))
    yield PlacedContour(id="fossa_floor", side=side, xy_px=floor)
    foramen = foramen_px(hip_bone, film, hip)
    if foramen is not None:
        medial, lateral, arc = foramen
        yield _point("obturator_foramen_medial", side, medial)
        yield _point("obturator_foramen_lateral", side, lateral)
        yield PlacedContour(id="shenton_obturator_arc", side=side, xy_px=arc)
    ossicles = [b for n, b in person.bones.items() if n.startswith(f"ossicle_{side}")]
    if ossicles:
        corners = np.concatenate([film.project(bone.outer.vertices) for bone in ossicles])
        yield _point("ossicle_lateral_edge", side, most_lateral_px(corners, side))


def _rims(film: SimulatedFilm, hip: HipTruth) -> Iterator[PlacedContour]:
    """Both edges of the socket, down from the most lateral point of the rim on this film."""
    center, radius = head_circle_px(film, hip)
    back, front = (film.project(hip.pelvis.curves[f"{n}_rim"]) for n in ("posterior", "anterior"))
    whole = np.vstack([back[:0:-1], front])
    outward = 1.0 if hip.side is Side.LEFT else -1.0
    lateral = int((outward * whole[:, 0]).argmax())
    halves = {"posterior_rim": whole[lateral::-1], "anterior_rim": whole[lateral:]}
    for name, line in halves.items():
        seen = line[line[:, 1] < center[1] + _RIM_DOWN_TO[name] * radius]
        yield PlacedContour(id=name, side=hip.side, xy_px=resampled(seen, 24))


def _scar(film: SimulatedFilm, hip: HipTruth, slope_deg: float) -> Iterator[Item]:
    part = Part.femur(hip.side)
    ends = physeal_scar_ends_mm(hip, slope_deg)
    for name, end in zip(("physeal_scar_medial", "physeal_scar_lateral"), ends, strict=True):
        yield _point(name, hip.side, film.project(end, part)[0])


def _false_profile(film: SimulatedFilm, hip: HipTruth) -> Iterator[Item]:
    sourcil, rim = anterior_ends_px(film, hip)
    yield _point("anterior_sourcil_edge", hip.side, sourcil)
    yield _point("anterior_rim_edge", hip.side, rim)
