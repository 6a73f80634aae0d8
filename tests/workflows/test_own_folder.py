"""From a DICOM folder to a measured, reported hip, by the commands alone."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pydicom.data
import pytest

from hipwright.adapters.wire.documents import as_json
from hipwright.adapters.wire.landmark_file import landmarks_to_wire
from hipwright.domain.side import Side
from hipwright.phantoms.analytic_film import AnalyticFilm, FilmMaking, pelvis_film
from hipwright.phantoms.analytic_hip import AnalyticHip
from tests.analytic_cases import ANALYTIC, SMALL
from tests.dicom_makers import film, saved
from tests.needs import skip_unless_ci
from tests.unit.apps.cli.workbench import document, landmark_file, refusal, run, valid

DEG, MM = 0.2, 0.2  # what measurements of analytic hips must be recovered to
HIPS = {side: AnalyticHip() for side in Side}
ANGLES = ("lateral_center_edge_angle.sourcil", "roof_angle.tonnis", "neck_shaft_angle")
SECRETS = ("Invented", "INV-7", "1990-06-15", "19900615", "2024-03-01", "20240301")


@pytest.fixture(autouse=True)
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HIPWRIGHT_WORKSPACE", str(tmp_path / "workspace"))
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "config"))
    return tmp_path


def a_folder(machine: Path) -> Path:
    """A folder as a disc holds it: a film, and something else."""
    shape = (SMALL.rows, SMALL.columns)
    dicom = film(shape=shape, ImagerPixelSpacing=None, PixelSpacing=[1.5, 1.5])
    saved(dicom, machine / "disc" / "IMAGES" / "IM0001")
    (machine / "disc" / "README.TXT").write_text("viewer")
    return machine / "disc"


def values(found: dict[str, Any], side: str = "left") -> dict[str, float]:
    own = [item for item in found["items"] if item.get("side") == side]
    return {item["id"]: item["value"] for item in own if "value" in item}


def reasons(found: dict[str, Any]) -> list[str]:
    return [item["not_measured"] for item in found["items"] if "not_measured" in item]


def test_a_folder_becomes_a_measured_and_reported_hip(machine: Path) -> None:
    added = document(run("add", a_folder(machine), "--side", "left", "--json"))
    code = added["cases"][0]["code"]

    unread = document(run("measure", code, "--json"))
    assert values(unread) == {}
    assert all(reasons(unread))

    image = added["images"][0]["id"]
    path = landmark_file(machine, "ap", image=image)
    document(run("landmarks", code, "--from", path, "--json"))
    measured = document(run("measure", code, "--json"))
    made, _ = ANALYTIC["ap"]
    for key in ANGLES:
        assert values(measured)[key] == pytest.approx(made.truth[key, Side.LEFT], abs=DEG)
    space = "joint_space.apical"
    scale = added["images"][0]["mm_per_column"] / SMALL.column_mm  # a magnification is assumed
    wanted = scale * made.truth[space, Side.LEFT]
    assert values(measured)[space] == pytest.approx(wanted, abs=MM)
    assert {item["image"] for item in measured["items"] if "value" in item} == {image}

    for ending in ("pdf", "html", "txt"):
        to = machine / f"{code}.{ending}"
        document(run("report", code, "--to", to, "--json"))
        content = to.read_bytes()
        assert not [secret for secret in SECRETS if secret.encode() in content]
    letter = (machine / f"{code}.txt").read_text("utf-8")
    assert f"sourcil {values(measured)[ANGLES[0]]:.1f}°" in letter

    again = document(run("add", a_folder(machine), "--side", "left", "--json"))
    assert (again["already_here"], again["images"]) == (1, [])
    assert values(document(run("measure", code, "--json"))) == values(measured)


def test_the_same_works_for_processes_of_their_own(machine: Path) -> None:
    def hipwright(*arguments: object) -> dict[str, Any]:
        command = [sys.executable, "-c", "from hipwright.apps.cli.main import app; app()"]
        done = subprocess.run(
            [*command, *map(str, arguments), "--json"],
            capture_output=True,
            check=True,
            env=os.environ,
            timeout=60,
        )
        return valid(done.stdout.decode())

    added = hipwright("add", a_folder(machine), "--side", "left", "--case", "HIP-1")
    assert added["cases"][0]["code"] == "HIP-1"
    hipwright("landmarks", "HIP-1", "--from", landmark_file(machine, "ap"))
    truth = ANALYTIC["ap"][0].truth[ANGLES[0], Side.LEFT]
    assert values(hipwright("measure", "hip-1"))[ANGLES[0]] == pytest.approx(truth, abs=DEG)


def data_file(name: str) -> Path:
    found = pydicom.data.get_testdata_file(name, download=False)
    if not isinstance(found, str):
        skip_unless_ci(f"{name} of pydicom-data is not installed: other people's films unmeasured")
    return Path(str(found))


@pytest.mark.parametrize(
    ("name", "columns", "rows", "side"),
    [("RG3_UNCR.dcm", 1760, 1760, "right"), ("RG1_J2KR.dcm", 1841, 1955, "left")],
)
def test_a_film_that_none_of_us_wrote_is_measured_without_its_millimeters(
    machine: Path, name: str, columns: int, rows: int, side: str
) -> None:
    # Two CR films of the pydicom-data package: one of a right side, without spacing, whose rows
    # run toward the patient's right (PS3.3 C.7.6.1.1.1), so it is shown mirrored; one with a
    # spacing of zero.
    asked = ("--side", side, "--view", "pelvis_ap", "--pixels-checked")
    added = document(run("add", data_file(name), *asked, "--json"))
    code = added["cases"][0]["code"]
    (image,) = added["images"]
    assert (image["columns"], image["rows"], image["view"]) == (columns, rows, "pelvis_ap")

    made = drawn_on(columns, rows, mirrored=side == "right")
    file = landmarks_to_wire(made.landmarks).model_copy(update={"image": image["id"]})
    path = machine / "landmarks.json"
    path.write_text(as_json(file), "utf-8")
    document(run("landmarks", code, "--from", path, "--json"))
    measured = document(run("measure", code, "--json"))
    for key in ANGLES:
        truth = made.truth[key, Side(side)]
        assert values(measured, side)[key] == pytest.approx(truth, abs=DEG)
    assert not [item for item in measured["items"] if item.get("unit") == "mm"]

    to = machine / "report.html"
    document(run("report", code, "--to", to, "--json"))
    page = to.read_text("utf-8")
    assert "uncalibrated" in page
    assert "CompressedSamples" not in page


def drawn_on(columns: int, rows: int, *, mirrored: bool) -> AnalyticFilm:
    making = FilmMaking(
        columns=columns,
        rows=rows,
        column_mm=0.25,
        row_mm=0.25,
        calibrated=False,
        mirrored=mirrored,
    )
    return pelvis_film(HIPS, making=making)


def test_a_side_that_the_film_contradicts_is_refused(machine: Path) -> None:
    right = data_file("RG3_UNCR.dcm")  # its header says so
    asked = ("--side", "left", "--view", "pelvis_ap", "--pixels-checked")
    error = refusal(run("add", right, *asked, "--json"))
    assert error["code"] == "side"
    assert document(run("cases", "--json"))["items"] == []


def test_millimeters_on_that_film_are_refused_and_nothing_is_saved(machine: Path) -> None:
    asked = ("--side", "left", "--view", "pelvis_ap", "--pixels-checked")
    added = document(run("add", data_file("RG1_J2KR.dcm"), *asked, "--json"))
    code = added["cases"][0]["code"]
    error = refusal(
        run("landmarks", code, "--from", landmark_file(machine, "ap", unit="mm"), "--json")
    )
    assert error["code"] == "calibration"
    assert values(document(run("measure", code, "--json"))) == {}


def test_progress_and_warnings_stay_off_stdout(machine: Path) -> None:
    done = run("add", a_folder(machine), "--side", "left", "--json")
    valid(done.stdout)
    assert not [secret for secret in SECRETS if secret in done.stdout + done.stderr]


def test_no_byte_of_the_workspace_tells_who_it_is(machine: Path) -> None:
    run("add", a_folder(machine), "--side", "left")
    for path in (machine / "workspace").rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert not [secret for secret in SECRETS if secret.encode() in content], path.name


def test_the_pdf_of_that_case_is_one_that_other_programs_read(
    machine: Path, program: Callable[[str], Path]
) -> None:
    added = document(run("add", a_folder(machine), "--side", "left", "--json"))
    code = added["cases"][0]["code"]
    run("landmarks", code, "--from", landmark_file(machine, "ap"))
    to = machine / "report.pdf"
    document(run("report", code, "--to", to, "--json"))
    done = subprocess.run([program("pdftotext"), to, "-"], capture_output=True, check=True)
    text = " ".join(done.stdout.decode().split())
    assert "Left hip: film report" in text
    assert "29.0°" in text
    assert not [secret for secret in SECRETS if secret in text]
