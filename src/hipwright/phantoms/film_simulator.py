"""Radiographs of bones in a body, with their true geometry."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.side import Side
from hipwright.phantoms import attenuation
from hipwright.phantoms.film_appearance import (
    FULL_SCALE,
    FilmStyle,
    Picture,
    developed,
    exposed,
    magnified,
)
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.film_grain import bone_grains
from hipwright.phantoms.film_marks import BALL_RADIUS_MM, ball_place_mm, mark_film, sphere_lengths
from hipwright.phantoms.film_setup import FilmSetup, RigidPose, Scene
from hipwright.phantoms.lumbar import lumbar_spine
from hipwright.phantoms.projection import Array, Beam
from hipwright.phantoms.ray_lengths import add_ray_lengths
from hipwright.phantoms.soft_tissue import Build, Solid, body_envelope, bowel_gas, muscles
from hipwright.phantoms.trabeculae import direction_field, speckle, streaks

SOFT_STEP = 4
GRAIN_STEP = 2
WAVE_STEP = 8
"""Soft tissue, grain and slow waves are worked out on every 4th, 2nd and 8th pixel."""

AIR_LIMIT = 0.25
"""Attenuation below which a ray met only air and a little skin."""

STEEL_AT_MOST = 8.0
"""Attenuation of the ball beyond which nothing changes on a film."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedFilm:
    """A film and all that is true of it.

    Parameters
    ----------
    pixels
        Gray values, uint16, shape (rows, columns), 12 bits used.
    inverted
        Whether low values are bright (MONOCHROME1).
    setup, beam
        How it was taken; the beam is in the frame of the pelvis.
    poses
        How each part was moved in the frame of the pelvis.
    marker
        The side named by the lead letter.
    ball_center_mm
        Center of the calibration ball in the frame of the pelvis, if there is one.
    """

    pixels: NDArray[np.uint16]
    inverted: bool
    setup: FilmSetup
    beam: Beam
    poses: Mapping[Part, RigidPose]
    marker: Side
    subject_mm: Array
    ball_center_mm: Array | None = None

    def project(self, points_mm: Array, part: Part = Part.PELVIS) -> Array:
        """Give (column, row) in ``film_px`` of points of a part, unposed, shape (n, 2)."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        return self.beam.project(self.poses[part].apply(points))

    @property
    def magnification(self) -> float:
        """M = SDD / (SDD − OID) at the hips."""
        return self.beam.magnification(self.subject_mm)


def _thinned(beam: Beam, step: int) -> Beam:
    return Beam(
        source_mm=beam.source_mm,
        first_pixel_mm=beam.first_pixel_mm,
        column_axis=beam.column_axis,
        row_axis=beam.row_axis,
        pixel_mm=beam.pixel_mm * step,
        columns=beam.columns // step + 2,
        rows=beam.rows // step + 2,
    )


def _soft_attenuation(solids: tuple[Solid, ...], beam: Beam) -> Picture:
    coarse = _thinned(beam, SOFT_STEP)
    total = np.zeros((coarse.rows, coarse.columns))
    for solid in solids:
        add_ray_lengths(
            total,
            solid.surface.vertices,
            solid.surface.faces,
            coarse,
            weight=solid.contrast_per_mm,
        )
    total *= coarse.ray_norms()
    return magnified(total.astype(np.float32), SOFT_STEP, beam.rows, beam.columns)


def _bone_attenuation(skeleton: Skeleton, scene: Scene) -> tuple[Array, dict[Part, Array]]:
    beam, poses = scene.beam, scene.poses
    dense = np.zeros((beam.rows, beam.columns))
    spongy: dict[Part, Array] = {}
    for part in Part:
        marrow = np.zeros((beam.rows, beam.columns))
        for bone in skeleton.of_part(part):
            outer = poses[part].apply(bone.outer.vertices)
            weight = bone.density * (attenuation.CORTEX - attenuation.SOFT)
            add_ray_lengths(dense, outer, bone.outer.faces, beam, weight=weight)
            if bone.inner is not None:
                inner = poses[part].apply(bone.inner.vertices)
                add_ray_lengths(marrow, inner, bone.inner.faces, beam, weight=1.0)
        spongy[part] = marrow
        dense += marrow * (attenuation.CANCELLOUS - attenuation.CORTEX)
    norms = beam.ray_norms()
    for part in Part:
        spongy[part] *= norms
    return dense * norms, spongy


def _grain(
    lengths: Picture,
    skeleton: Skeleton,
    part: Part,
    scene: Scene,
    *,
    strength: float,
    rng: np.random.Generator,
) -> Picture:
    """Give what trabeculae add to the attenuation of a part's cancellous bone."""
    beam = scene.beam
    rows, columns = lengths.shape
    if not (lengths > 0).any():
        return np.zeros_like(lengths)
    shape = (rows // GRAIN_STEP + 2, columns // GRAIN_STEP + 2)
    body_px_mm = beam.pixel_mm * GRAIN_STEP / beam.magnification(skeleton.middle_of_heads_mm)
    grains = bone_grains(skeleton, part, scene)
    cosine, sine, density = direction_field(grains, shape, GRAIN_STEP)
    wanted = np.zeros(shape, bool)
    marrow = lengths[::GRAIN_STEP, ::GRAIN_STEP] > 0
    wanted[: marrow.shape[0], : marrow.shape[1]] = marrow
    fine = streaks(
        cosine, sine, wanted, length_px=max(2, round(3.0 / body_px_mm)), width_px=0.9, rng=rng
    )
    coarse = streaks(
        cosine,
        sine,
        wanted,
        length_px=max(2, round(6.0 / body_px_mm)),
        width_px=0.5 / body_px_mm,
        rng=rng,
    )
    dots = speckle(shape, tuple(s / body_px_mm for s in (0.3, 0.7, 2.5)), rng)
    streaked = 0.42 if part is Part.PELVIS else 0.6
    pattern = streaked * (fine + coarse) + 0.65 * dots
    excess = attenuation.CANCELLOUS - attenuation.SOFT
    large = magnified(pattern.astype(np.float32), GRAIN_STEP, rows, columns)
    factor = magnified(density, GRAIN_STEP, rows, columns)
    inside = np.maximum(lengths, 0)
    added = excess * inside * (factor - 1) + 0.0042 * strength * np.sqrt(inside) * large
    return added.astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmExtras:
    """What the radiographer adds, and how the file stores it.

    Parameters
    ----------
    marker
        Side of the lead letter; by default the side aimed at, else the right.
    ball
        Whether a steel ball of 25.4 mm lies between the thighs at trochanter depth.
    inverted
        Whether the values are stored with bone dark (MONOCHROME1).
    """

    marker: Side | None = None
    ball: bool = False
    inverted: bool = False


def _body_attenuation(
    skeleton: Skeleton,
    scene: Scene,
    build: Build,
    style: FilmStyle,
    rng: np.random.Generator,
) -> Picture:
    heads = skeleton.head_centers_mm
    solids = (
        *body_envelope(heads_mm=heads, shafts=scene.shafts, build=build, rng=rng),
        *muscles(heads_mm=heads, shafts=scene.shafts, rng=rng),
        *bowel_gas(middle_mm=skeleton.middle_of_heads_mm, rng=rng, amount=style.gas),
    )
    beam = scene.beam
    total = _soft_attenuation(solids, beam)
    bone, spongy = _bone_attenuation(skeleton, scene)
    total += bone.astype(np.float32)
    for part in Part:
        lengths = spongy[part].astype(np.float32)
        total += _grain(lengths, skeleton, part, scene, strength=style.grain, rng=rng)
    waves = speckle(
        (beam.rows // WAVE_STEP + 2, beam.columns // WAVE_STEP + 2),
        tuple(size / (WAVE_STEP * beam.pixel_mm) for size in (2.5, 6.0, 14.0)),
        rng,
    )
    total += np.float32(0.012) * magnified(waves, WAVE_STEP, beam.rows, beam.columns)
    return np.maximum(total, np.float32(0))


def simulate_film(
    skeleton: Skeleton,
    setup: FilmSetup,
    rng: np.random.Generator,
    *,
    build: Build | None = None,
    style: FilmStyle | None = None,
    extras: FilmExtras | None = None,
) -> SimulatedFilm:
    """Take a film of a skeleton in a body of soft tissue.

    Parameters
    ----------
    skeleton
        Bones in neutral pose.
    setup
        View, distances, detector and poses.
    rng
        Decides soft tissue, grain and noise; the same state gives the same film.
    build, style, extras
        The body around the bones, how the machine renders it, what is laid beside.
    """
    style, extras = style or FilmStyle(), extras or FilmExtras()
    marker = extras.marker or setup.side or Side.RIGHT
    skeleton = replace(skeleton, bones=(*skeleton.bones, *lumbar_spine(skeleton)))
    scene = Scene.of(skeleton, setup)
    beam = scene.beam
    total = _body_attenuation(skeleton, scene, build or Build(), style, rng)
    body = total > AIR_LIMIT
    ball = ball_place_mm(skeleton, scene, setup.side or Side.LEFT) if extras.ball else None
    if ball is not None:
        steel = sphere_lengths(beam, ball, BALL_RADIUS_MM)
        total += np.minimum(steel * attenuation.STEEL, STEEL_AT_MOST).astype(np.float32)
        body &= steel == 0
    log_exposure = exposed(total, style, beam.pixel_mm, rng)
    gray = developed(log_exposure, body, style, beam.pixel_mm)
    gray = mark_film(gray, beam, marker=marker, rng=rng)
    pixels = np.rint(gray).astype(np.uint16)
    if extras.inverted:
        pixels = np.uint16(FULL_SCALE) - pixels
    return SimulatedFilm(
        pixels=pixels,
        inverted=extras.inverted,
        setup=setup,
        beam=beam,
        poses=scene.poses,
        marker=marker,
        subject_mm=setup.subject_mm(skeleton),
        ball_center_mm=ball,
    )
