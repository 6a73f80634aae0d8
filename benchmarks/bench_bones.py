"""How fast and how exact bone models are, beside the plain way to make them, in one run.

Run by itself: ``python -m benchmarks.bench_bones``. A simulated CT of both hips (512 × 512 ×
300) is to become surfaces within 45 s of processor time, 60 s of wall time and 3 GiB, one hip
within 20 s, all measurements in space within 5 s. The plain way is a threshold of 250 HU,
connected components and marching cubes, with SimpleITK and scikit-image. Each way runs in a
process of its own that reads the same file, so that its peak of memory is its own; compiled
code is cached by a first run on a crop. Errors are those of the study: distances from the
true surfaces.
"""

from __future__ import annotations

import json
import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hipwright.domain.anatomy import Bone
from hipwright.domain.volume import Volume
from tests.bones_at_hand import subject_a_volume
from tests.studies.bones_distance import Sheet
from tests.studies.bones_errors import Judge, inside_field

PLAIN_HU = 250.0
GOAL_CPU_S, GOAL_WALL_S, GOAL_GIB, GOAL_ONE_HIP_S = 45.0, 60.0, 3.0, 20.0
GOAL_MEASURE_S = 5.0
KIB_PER_GIB = 1024**2
BONES = (Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT, Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)
LEAST_VOXELS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """Vertices in ``patient_lps`` and faces."""

    vertices: np.ndarray
    faces: np.ndarray


def ours(volume: Volume) -> dict[str, Mesh]:
    """Bone models as the program makes them, by bone."""
    from hipwright.engines.segmentation.bones import bone_models
    from hipwright.engines.segmentation.labels import segment

    models, _ = bone_models(volume, segment(volume))
    return {m.bone.value: Mesh(vertices=m.surface.vertices, faces=m.surface.faces) for m in models}


def plain(volume: Volume) -> dict[str, Mesh]:
    """One surface for each large connected component above the threshold."""
    import SimpleITK as sitk  # noqa: N813 (its own short name)
    from skimage.measure import marching_cubes

    image: Any = sitk.GetImageFromArray(volume.values)
    labels = sitk.RelabelComponent(
        sitk.ConnectedComponent(image > PLAIN_HU), minimumObjectSize=LEAST_VOXELS
    )
    codes = sitk.GetArrayFromImage(labels)
    found: dict[str, Mesh] = {}
    for code in range(1, int(codes.max()) + 1):
        where = np.argwhere(codes == code)
        low, high = np.maximum(where.min(axis=0) - 1, 0), where.max(axis=0) + 2
        box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
        part = np.pad((codes[box] == code).astype(np.float32), 1)
        vertices, faces, _, _ = marching_cubes(part, 0.5)
        places = volume.grid.to_mm(np.asarray(vertices, dtype=np.float64) - 1 + low)
        found[f"component {code}"] = Mesh(vertices=places, faces=np.asarray(faces))
    return found


WAYS = {"ours": ours, "plain": plain}


def child(way: str, source: Path, target: Path) -> None:
    """Make surfaces of a kept volume and tell what it took."""
    volume = pickle.loads(source.read_bytes())  # noqa: S301 (written by this very program)
    begun, busy = time.perf_counter(), time.process_time()
    meshes = WAYS[way](volume)
    wall, cpu = time.perf_counter() - begun, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_GIB
    target.write_bytes(pickle.dumps(meshes))
    sys.stdout.write(json.dumps({"wall_s": wall, "cpu_s": cpu, "peak_gib": peak}))


def timed(way: str, volume: Volume, folder: Path) -> tuple[dict[str, float], dict[str, Mesh]]:
    """Run one way in a process of its own."""
    source, target = folder / "volume", folder / "surfaces"
    source.write_bytes(pickle.dumps(volume))
    order = [sys.executable, "-m", "benchmarks.bench_bones", way, str(source), str(target)]
    done = subprocess.run(order, check=True, capture_output=True, text=True)  # noqa: S603 (this very file)
    return json.loads(done.stdout), pickle.loads(target.read_bytes())  # noqa: S301 (as above)


def errors(judge: Judge, meshes: dict[str, Mesh]) -> dict[str, float]:
    """Errors from the true surfaces: mean and 95th percentile, everywhere and in the joint.

    A bone that has no surface of its own is held against the one that comes nearest, which
    favors the plain way: bones that it fused are not counted against it here.
    """
    sheets = {name: Sheet.of(mesh) for name, mesh in meshes.items()}
    every: list[np.ndarray] = []
    joint: list[np.ndarray] = []
    for bone in BONES:
        truth = judge.sheets[bone]
        places = truth.places[inside_field(judge.scanned, truth.places)]
        own = [sheets[bone.value]] if bone.value in sheets else list(sheets.values())
        away = np.min([np.abs(s.distances(places)) for s in own], axis=0)
        every.append(away)
        near = judge._regions(bone, places)["joint"]  # noqa: SLF001 (the study's own regions)
        joint.append(away[near])
    whole, close = np.concatenate(every), np.concatenate(joint)
    return {
        "mean": float(whole.mean()),
        "p95": float(np.quantile(whole, 0.95)),
        "joint mean": float(close.mean()),
        "joint p95": float(np.quantile(close, 0.95)),
    }


def told_apart(judge: Judge, meshes: dict[str, Mesh]) -> int:
    """How many of the four bones have a surface to themselves: no two share one."""
    sheets = {name: Sheet.of(mesh) for name, mesh in meshes.items()}
    nearest: list[str] = []
    for bone in BONES:
        places = judge.sheets[bone].places[::40]
        places = places[inside_field(judge.scanned, places)]
        off = {n: float(np.median(np.abs(s.distances(places)))) for n, s in sheets.items()}
        nearest.append(min(off, key=lambda n: off[n]))
    return sum(nearest.count(name) == 1 for name in nearest)


def measured_s(meshes: dict[str, Mesh], volume: Volume) -> float:
    """Processor time from surfaces to all numbers in space, both hips with their doubt."""
    from hipwright.domain.anatomy import BoneModel, BoneQuality, Surface
    from hipwright.engines.anatomy.space_doubt import SpaceDoubt
    from hipwright.engines.anatomy.survey import (
        drawn_hip,
        find_landmarks,
        surfaces_of,
        survey_hips,
    )
    from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS

    models = [
        BoneModel(
            bone=Bone(name),
            surface=Surface(vertices=m.vertices, faces=m.faces, frame=volume.grid.frame),
            quality=BoneQuality(edge_sd_mm=0.08, edge_bias_sd_mm=0.05),
        )
        for name, m in meshes.items()
    ]
    doubt = SpaceDoubt(edge_sd_mm=0.08, edge_bias_sd_mm=0.05)
    taken: list[float] = []
    for _ in range(2):  # the first compiles
        begun = time.process_time()
        landmarks, _ = find_landmarks(models)
        for hip in survey_hips(surfaces_of(models), landmarks):
            drawn = drawn_hip(hip, np.random.default_rng(1), doubt)
            for construction in SPACE_CONSTRUCTIONS.values():
                construction(drawn)
        taken.append(time.process_time() - begun)
    return taken[-1]


def tell(words: str) -> None:
    """One line."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(kept)
        one_hip = subject_a_volume("one_hip")
        timed("ours", one_hip.volume, folder)
        took, _ = timed("ours", one_hip.volume, folder)
        tell(
            f"one hip {one_hip.volume.grid.shape}: {took['cpu_s']:.1f} s CPU, "
            f"{took['wall_s']:.1f} s wall, {took['peak_gib']:.2f} GiB (goal {GOAL_ONE_HIP_S} s)"
        )
        both = subject_a_volume("base")
        judge = Judge(both)
        found: dict[str, tuple[dict[str, float], dict[str, float]]] = {}
        surfaces: dict[str, Mesh] = {}
        for way in WAYS:
            took, meshes = timed(way, both.volume, folder)
            off = errors(judge, meshes)
            found[way] = took, off
            if way == "ours":
                surfaces = meshes
            tell(
                f"{way}: {took['cpu_s']:.1f} s CPU, {took['wall_s']:.1f} s wall, "
                f"{took['peak_gib']:.2f} GiB; error mean {off['mean']:.3f} mm, 95th percentile "
                f"{off['p95']:.3f}; in the joint {off['joint mean']:.3f} and "
                f"{off['joint p95']:.3f}; {told_apart(judge, meshes)} of {len(BONES)} bones "
                "told apart"
            )
        (mine, my_error), (theirs, their_error) = found["ours"], found["plain"]
        tell(f"time against the plain way: {mine['cpu_s'] / theirs['cpu_s']:.1f} times")
        for what in my_error:
            tell(f"error against the plain way, {what}: {my_error[what] / their_error[what]:.2f}")
        tell(f"measuring: {measured_s(surfaces, both.volume):.1f} s CPU (goal {GOAL_MEASURE_S} s)")
        load = " ".join(f"{x:.1f}" for x in os.getloadavg())
        tell(
            f"goals: {GOAL_CPU_S} s CPU, {GOAL_WALL_S} s wall, {GOAL_GIB} GiB; "
            f"load of the machine {load} on {os.cpu_count()} cores"
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        child(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
    else:
        main()
