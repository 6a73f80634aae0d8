"""``landmarks`` and ``measure``: a file on disk becomes numbers, the same each time."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from hipwright import wiring
from hipwright.adapters.wire.documents import CAUTION
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.workflows.measure_hip import measure_landmarks
from tests.analytic_cases import ANALYTIC, SMALL
from tests.unit.apps.cli.workbench import (
    case_with,
    document,
    kept_readings,
    landmark_file,
    refusal,
    run,
)

pytestmark = pytest.mark.usefixtures("machine")
LCEA = "lateral_center_edge_angle.sourcil"
SIZE = ("--size", f"{SMALL.columns}x{SMALL.rows}")


def values(found: dict[str, Any]) -> dict[tuple[str, str | None], float]:
    return {(i["id"], i.get("side")): i["value"] for i in found["items"] if "value" in i}


def test_a_loaded_file_is_measured_and_measuring_again_says_the_same(machine: Path) -> None:
    kept = case_with("ap")
    loaded = document(
        run("landmarks", kept.case.code, "--from", landmark_file(machine, "ap"), "--json")
    )
    measured = document(run("measure", kept.case.code, "--both", "--json"))
    again = document(run("measure", kept.case.code, "--both", "--json"))
    assert loaded["case"] == measured["case"] == kept.case.code
    assert values(loaded) == values(measured) == values(again)
    truth = ANALYTIC["ap"][0].truth[LCEA, Side.LEFT]
    assert values(measured)[LCEA, "left"] == pytest.approx(truth, abs=0.2)


def test_only_the_cases_own_hip_is_measured_unless_both_are_asked_for(machine: Path) -> None:
    kept = case_with("ap")
    run("landmarks", kept.case.code, "--from", landmark_file(machine, "ap"))
    own = document(run("measure", kept.case.code, "--json"))
    assert {side for _, side in values(own)} == {"left", None}


def test_a_file_alone_measures_as_in_a_case(machine: Path) -> None:
    path = landmark_file(machine, "ap")
    alone = document(
        run("measure", "--from", path, *SIZE, "--pixel-mm", SMALL.column_mm, "--json")
    )
    assert "case" not in alone
    made, _ = ANALYTIC["ap"]
    wanted = measure_landmarks(made.film, made.landmarks, list(Side))
    assert {key for key, _ in values(alone)} <= {found.definition for found in wanted}
    assert values(alone)[LCEA, "right"] == pytest.approx(made.truth[LCEA, Side.RIGHT], abs=0.2)
    assert [i for i in alone["items"] if i.get("unit") == "{pixel}"] == []


def test_a_file_alone_without_a_scale_has_no_millimeters(machine: Path) -> None:
    found = document(run("measure", "--from", landmark_file(machine, "ap"), *SIZE, "--json"))
    assert not [item for item in found["items"] if item.get("unit") == "mm"]


def test_a_false_profile_alone_asks_where_the_front_is(machine: Path) -> None:
    path = landmark_file(machine, "false_profile")
    command = ("measure", "--from", path, *SIZE, "--view", "false_profile", "--json")
    refused = document(run(*command))
    reasons = [i["not_measured"] for i in refused["items"] if i["id"].startswith("anterior")]
    assert reasons
    assert all("front" in reason for reason in reasons)
    found = document(run(*command, "--anterior", "right"))
    key = "anterior_center_edge_angle.sourcil"
    made, _ = ANALYTIC["false_profile"]
    assert values(found)[key, "left"] == pytest.approx(made.truth[key, Side.LEFT], abs=0.2)


def test_a_person_reads_values_classes_reasons_and_the_caution(machine: Path) -> None:
    kept = case_with("ap", "dunn")
    with wiring.open_workspace() as opened:
        image = kept.images["ap"].id
        assert opened.keeper.image(image).id == image
    done = run(
        "landmarks", kept.case.code, "--from", landmark_file(machine, "ap"), "--image", image
    )
    assert done.exit_code == 0
    assert "version 1 by phantom:analytic" in done.stdout
    told = run("measure", kept.case.code)
    assert told.exit_code == 0
    assert "Measurements (AP pelvis)" in told.stdout
    assert "Lateral center-edge angle, to the sourcil" in told.stdout
    assert "29.0°" in told.stdout
    assert "Not measured" in told.stdout
    assert CAUTION in " ".join(told.stdout.split())


def test_loading_again_makes_a_new_version(machine: Path) -> None:
    kept = case_with("ap")
    first, second = landmark_file(machine, "ap"), machine / "second.json"
    moved = json.loads(first.read_text("utf-8"))
    moved["points"][0]["x"] += 1
    second.write_text(json.dumps(moved), "utf-8")
    for path, version in ((first, 1), (second, 2), (second, 2)):
        done = run("landmarks", kept.case.code, "--from", path)
        assert f"version {version}" in done.stdout
    assert len(kept_readings(kept, "ap")) == 1


def one_point(**changes: Any) -> dict[str, Any]:
    return {"points": [{"id": "alpha_onset", "side": "left", "x": 1, "y": 1} | changes]}


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (one_point(id="nose"), "nose"),
        (one_point(id="coccyx_tip"), "coccyx_tip"),
        (one_point(x=9e9), "alpha_onset"),
        ({"points": one_point()["points"] * 2}, "alpha_onset of the left twice"),
        ({"version": 2}, "version"),
    ],
)
def test_of_a_refused_file_nothing_is_saved(
    machine: Path, change: dict[str, Any], named: str
) -> None:
    kept = case_with("ap")
    path = landmark_file(machine, "ap")
    path.write_text(json.dumps(json.loads(path.read_text("utf-8")) | change), "utf-8")
    error = refusal(run("landmarks", kept.case.code, "--from", path, "--json"))
    assert error["code"] == "landmark"
    assert named in error["message"]
    assert kept_readings(kept, "ap") == []
    told = run("landmarks", kept.case.code, "--from", path)
    assert (told.exit_code, told.stdout) == (1, "")
    assert named in told.stderr


def test_which_film_is_meant_must_be_said_where_there_are_several(machine: Path) -> None:
    kept = case_with("ap", "dunn")
    path = landmark_file(machine, "dunn")
    error = refusal(run("landmarks", kept.case.code, "--from", path, "--json"))
    assert error["field"] == "image"
    for image in kept.images.values():
        assert image.id in error["message"]
    named = landmark_file(machine, "dunn", image=kept.images["dunn"].id)
    document(run("landmarks", kept.case.code, "--from", named, "--json"))
    assert len(kept_readings(kept, "dunn")) == 1
    error = refusal(run("landmarks", kept.case.code, "--from", path, "--image", "x", "--json"))
    assert "found x;" in error["message"]


def test_a_film_of_the_other_hip_is_not_offered(machine: Path) -> None:
    kept = case_with("dunn")
    with wiring.open_workspace() as opened:
        other = replace(kept.images["dunn"], laterality=Laterality.RIGHT)
        opened.keeper.change_image(other, expected_version=1)
    path = landmark_file(machine, "dunn", image=kept.images["dunn"].id)
    error = refusal(run("landmarks", kept.case.code, "--from", path, "--json"))
    assert "of the left hip there are no films" in error["message"]
    assert kept_readings(kept, "dunn") == []


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((), "case"),
        (("--from", "none.json"), "from"),
        (("--from", "{file}", "--size", "wide"), "size"),
        (("--from", "{file}", "--size", "0x10"), "image"),
        (("--from", "{file}", "--pixel-mm", "150"), "calibration"),
        (("--from", "{file}", "--pixel-mm", "nan"), "calibration"),
        (("--from", "{file}", "--anterior", "up"), "side"),
        (("--from", "{file}", "ABC-DEF"), "from"),
        (("NO-CASE",), "workspace"),
    ],
)
def test_what_cannot_be_measured_is_refused(
    machine: Path, arguments: tuple[str, ...], field: str
) -> None:
    path = landmark_file(machine, "ap")
    filled = [argument.format(file=path) for argument in arguments]
    error = refusal(run("measure", *filled, "--json"))
    assert error.get("field") == field
    told = run("measure", *filled)
    assert (told.exit_code, told.stdout) == (1, "")
    assert error["message"] in told.stderr


def test_a_view_that_is_none_is_a_usage_error() -> None:
    assert run("measure", "--from", "x.json", "--view", "sideways").exit_code == 2
