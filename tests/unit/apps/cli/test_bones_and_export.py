"""Meshes come in, hips are measured on them, and models and tables go out: known bones."""

from __future__ import annotations

import csv
import io
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh

from hipwright import wiring
from hipwright.adapters.mesh_files.writing import ply_bytes, stl_bytes
from hipwright.adapters.wire.documents import CAUTION
from hipwright.domain.anatomy import Surface
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.side import Side
from hipwright.phantoms.analytic_bones import AnalyticHip3D, analytic_hip_3d
from tests.stick_bones import StickMaker, StickReader, a_workshop
from tests.unit.apps.cli.workbench import case_with, document, refusal, run

COARSE_MM = (1.5, 6.0)
HALF_APART_MM = 88.0
FRAME = Frame(FrameKind.PATIENT_LPS, "phantom")

TOLERANCE_DEG = 0.5  # of triangles of 1.5 mm
TOLERANCE_MM = 0.1


@cache
def normal_hip() -> AnalyticHip3D:
    return analytic_hip_3d("normal", steps_mm=COARSE_MM)


@cache
def bones_of(side: Side) -> dict[str, Surface]:
    at = np.array([HALF_APART_MM if side is Side.LEFT else -HALF_APART_MM, 0.0, 0.0])
    return {
        f"{name}_{side}": Surface(vertices=s.vertices, faces=s.faces, frame=FRAME)
        for name, s in normal_hip().in_patient_lps(side, at).items()
    }


@pytest.fixture
def code(machine: Path) -> str:
    """A case of a left hip, and meshes of both hips beside the workspace."""
    for side in Side:
        for name, surface in bones_of(side).items():
            (machine / f"{name}.ply").write_bytes(ply_bytes(name, surface))
    return case_with("ap").case.code


def added(machine: Path, code: str, *names: str, suffix: str = "ply") -> list[object]:
    """The arguments that take these bones in."""
    files = [machine / f"{name}.{suffix}" for name in names]
    bones = [word for name in names for word in ("--bone", name)]
    return ["add", *files, "--case", code, *bones, "--unit", "mm", "--axes", "lps"]


ALL = ("femur_left", "hip_bone_left", "femur_right", "hip_bone_right")


def test_meshes_are_taken_in_measured_and_exported(machine: Path, code: str) -> None:
    taken = document(run(*added(machine, code, *ALL), "--json"))
    assert taken["build"]["origin"] == "meshes"
    assert [bone["bone"] for bone in taken["build"]["bones"]] == list(ALL)

    found = document(run("bones", code, "--sides", "both", "--tilt-standing", "8", "--json"))
    assert found["caution"] == CAUTION
    values = {
        (item["id"], item["side"], item.get("hour")): item
        for item in found["items"]
        if "value" in item
    }
    truth = normal_hip().truth
    for side in ("left", "right"):
        radius = values["head_radius", side, None]
        assert radius["value"] == pytest.approx(truth["head_radius_mm"], abs=TOLERANCE_MM)
        angle = values["neck_shaft_angle.in_space", side, None]
        assert angle["value"] == pytest.approx(truth["neck_shaft_deg"], abs=TOLERANCE_DEG)
        assert angle["low"] < angle["value"] < angle["high"]
    hours = {hour for name, _, hour in values if name == "alpha_angle.radial"}
    assert len(hours) >= 24
    (standing,) = found["tilted"]
    assert (standing["posture"], standing["tilt_deg"]) == ("standing", 8.0)
    assert {item["id"] for item in standing["items"]} < {item["id"] for item in found["items"]}

    told = run("bones", code)
    assert told.exit_code == 0
    assert "meshes made elsewhere" in told.stdout
    assert "By the clock, left hip" in told.stdout
    assert "right hip (" not in told.stdout
    hours = re.findall(r"^│ +(\d+:\d\d) │", told.stdout, re.MULTILINE)
    assert hours[:3] == ["12:00", "12:30", "1:00"]
    assert CAUTION in " ".join(told.stdout.split())
    both = run("bones", code, "--sides", "both")
    assert "│ left " in both.stdout
    assert "│ right " in both.stdout

    for kind in ("stl", "ply", "glb", "csv"):
        folder = machine / kind
        made = document(run("export", code, "--to", folder, "--as", kind, "--json"))
        assert sorted(made["files"]) == sorted(path.name for path in folder.iterdir())
        readme = (folder / "README.txt").read_text()
        assert "patient_lps" in readme
        assert "millimeter" in readme
        assert CAUTION in readme
    stl = trimesh.load_mesh(machine / "stl" / f"{code}_femur_left.stl")
    np.testing.assert_allclose(
        stl.bounds, trimesh.load_mesh(machine / "femur_left.ply").bounds, atol=1e-4
    )
    rows = list(
        csv.DictReader(io.StringIO((machine / "csv" / f"{code}_measurements.csv").read_text()))
    )
    radius = next(r for r in rows if (r["id"], r["side"]) == ("head_radius", "left"))
    assert float(radius["value"]) == values["head_radius", "left", None]["value"]
    assert all(row["caution"] == CAUTION for row in rows)
    again = refusal(run("export", code, "--to", machine / "stl", "--json"))
    assert again["field"] == "to"


def written(path: Path, surface: Surface) -> None:
    path.write_bytes(stl_bytes(path.stem, surface))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("meters", "look like m: give --unit m"),
        ("inward", "--turn-outside-out"),
        ("open", "edges at holes"),
        ("other side", "lies like a right one"),
        ("no head", "No head and neck"),
    ],
)
def test_a_mesh_that_is_not_what_was_said_is_refused(
    machine: Path, code: str, change: str, told: str
) -> None:
    bone = bones_of(Side.RIGHT if change == "other side" else Side.LEFT)
    surface = next(s for name, s in bone.items() if name.startswith("femur"))
    vertices, faces = surface.vertices, surface.faces
    if change == "meters":
        vertices = vertices / 1000.0
    elif change == "inward":
        faces = faces[:, ::-1]
    elif change == "open":
        faces = faces[5:]
    elif change == "no head":
        block = trimesh.creation.box(extents=(75.0, 60.0, 110.0)).subdivide().subdivide()
        vertices, faces = np.array(block.vertices), np.array(block.faces)
    written(machine / "femur_left.stl", Surface(vertices=vertices, faces=faces, frame=FRAME))
    problem = refusal(run(*added(machine, code, "femur_left", suffix="stl"), "--json"))
    assert told in problem["message"]
    with wiring.open_workspace() as opened:
        person = opened.keeper.case(code).person
        assert list(opened.keeper.bone_builds_of(person)) == []


def test_what_a_mesh_does_not_say_must_be_declared(machine: Path, code: str) -> None:
    file = machine / "femur_left.ply"
    whole = ["--case", code, "--bone", "femur_left", "--unit", "mm", "--axes", "lps"]
    for option in ("--case", "--bone", "--unit", "--axes"):
        at = whole.index(option)
        problem = refusal(run("add", file, *whole[:at], *whole[at + 2 :], "--json"))
        assert option in problem["message"]
    twice = ["add", file, file, *whole, "--bone", "femur_left", "--json"]
    assert "two meshes declared" in refusal(run(*twice))["message"]
    both = refusal(run("add", file, machine, *whole, "--json"))
    assert "at once" in both["message"]


def test_bones_without_a_scan_say_what_to_do(machine: Path, code: str) -> None:
    assert "no CT series" in refusal(run("bones", code, "--json"))["message"]
    assert (
        "no bone models"
        in refusal(run("export", code, "--to", machine / "out", "--json"))["message"]
    )


def test_an_impossible_tilt_is_refused(machine: Path, code: str) -> None:
    run(*added(machine, code, "femur_left"))
    problem = refusal(run("bones", code, "--tilt-standing", "80", "--json"))
    assert problem["field"] == "standing_tilt"


def test_stopping_by_hand_keeps_nothing_and_says_so(
    machine: Path, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    del machine
    stopped = StickMaker(fails_in="segment", error=KeyboardInterrupt())  # pyright: ignore[reportArgumentType] (what Ctrl-C raises)
    monkeypatch.setattr(
        wiring, "bone_workshop", lambda _opened: a_workshop(StickReader(), stopped)
    )
    monkeypatch.setattr(
        "hipwright.workflows.bone_series.series_for_bones",
        lambda keeper, _reader, case, _image: keeper.images_of(case.person)[:1],
    )
    done = run("bones", code)
    assert done.exit_code == 130
    assert "Nothing was changed" in done.stderr
