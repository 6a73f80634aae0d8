"""The landmark file: pixels or millimeters, and everything that is refused by name."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.place import ROOT
from hipwright.adapters.wire.documents import as_json
from hipwright.adapters.wire.landmark_file import (
    LARGEST_FILE,
    landmarks_from_wire,
    landmarks_to_wire,
    parse_landmark_file,
    read_landmark_file,
)
from hipwright.domain.errors import CalibrationError, LandmarkError
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource
from hipwright.workflows.measure_hip import measure_landmarks
from tests.analytic_cases import ANALYTIC

FILM = ANALYTIC["ap"][0].film
OBLONG = replace(
    FILM, calibration=Calibration(column_mm=0.14, row_mm=0.17, source=SpacingSource.MARKER)
)

PLACES = st.floats(-1e6, 1e6)
SIDES = st.sampled_from([Side.LEFT, Side.RIGHT, None])
NAMES = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12)


@st.composite
def landmark_sets(draw: st.DrawFn) -> LandmarkSet:
    keys = draw(st.lists(st.tuples(NAMES, SIDES), unique=True, max_size=6))
    points, contours = [], []
    for name, side in keys:
        if draw(st.booleans()):
            sd = draw(st.none() | st.floats(0, 100))
            x, y = draw(PLACES), draw(PLACES)
            points.append(PlacedPoint(id=name, side=side, x_px=x, y_px=y, sd_px=sd))
        else:
            xy = draw(st.lists(st.tuples(PLACES, PLACES), min_size=1, max_size=5))
            contours.append(PlacedContour(id=name, side=side, xy_px=np.array(xy)))
    return LandmarkSet(
        image=FILM.image,
        observer=draw(NAMES),
        reading=draw(st.integers(1, 99)),
        points=tuple(points),
        contours=tuple(contours),
    )


def parts(landmarks: LandmarkSet) -> tuple[object, ...]:
    return (
        landmarks.image,
        landmarks.observer,
        landmarks.reading,
        landmarks.points,
        landmarks.contours,
    )


@given(landmark_sets())
def test_landmarks_come_back_exactly_from_their_file(landmarks: LandmarkSet) -> None:
    text = as_json(landmarks_to_wire(landmarks))
    assert parts(landmarks_from_wire(parse_landmark_file(text), FILM)) == parts(landmarks)


def file(**changes: Any) -> dict[str, Any]:
    point = {"id": "alpha_onset", "side": "left", "x": 12.5, "y": 40, "sd": 2.0}
    contour = {"id": "femoral_head", "side": "left", "xy": [[1, 2], [3.5, 4.5]]}
    return {
        "format": "hipwright.landmarks",
        "version": 1,
        "observer": "human:ab",
        "points": [point],
        "contours": [contour],
        **changes,
    }


def test_millimeters_are_counted_from_the_first_pixel_along_rows_and_columns() -> None:
    placed = landmarks_from_wire(parse_landmark_file(json.dumps(file(unit="mm"))), OBLONG)
    (point,), (contour,) = placed.points, placed.contours
    assert (point.x_px, point.y_px) == pytest.approx((12.5 / 0.14, 40 / 0.17))
    assert point.sd_px == pytest.approx(2.0 / 0.14)
    assert contour.xy_px == pytest.approx(
        np.array([[1 / 0.14, 2 / 0.17], [3.5 / 0.14, 4.5 / 0.17]])
    )


def in_millimeters(landmarks: LandmarkSet, film: Film) -> dict[str, Any]:
    found = json.loads(as_json(landmarks_to_wire(landmarks)))
    column, row = film.calibration.column_mm, film.calibration.row_mm
    for point in found["points"]:
        point["x"], point["y"] = point["x"] * column, point["y"] * row
    for contour in found["contours"]:
        contour["xy"] = [[x * column, y * row] for x, y in contour["xy"]]
    return {**found, "unit": "mm"}


@pytest.mark.parametrize("key", ANALYTIC)
def test_pixels_and_millimeters_give_equal_measurements(key: str) -> None:
    made, _ = ANALYTIC[key]
    both = [as_json(landmarks_to_wire(made.landmarks))]
    both.append(json.dumps(in_millimeters(made.landmarks, made.film)))
    px, mm = (
        measure_landmarks(
            made.film, landmarks_from_wire(parse_landmark_file(text), made.film), [Side.LEFT]
        )
        for text in both
    )
    assert len(px) == len(mm)
    for one, other in zip(px, mm, strict=True):
        assert type(one) is type(other)
        if isinstance(one, Measurement) and isinstance(other, Measurement):
            assert other.value == pytest.approx(one.value, rel=1e-9, abs=1e-9)


def test_millimeters_on_a_film_without_a_scale_are_refused() -> None:
    bare = replace(FILM, calibration=Calibration.uncalibrated())
    with pytest.raises(CalibrationError, match="uncalibrated") as caught:
        landmarks_from_wire(parse_landmark_file(json.dumps(file(unit="mm"))), bare)
    assert "px" in caught.value.next_step
    assert landmarks_from_wire(parse_landmark_file(json.dumps(file(unit="px"))), bare).points


def changed(place: str, **changes: Any) -> dict[str, Any]:
    found = file()
    found[place][0] |= changes
    return found


MANY = "".join(f', "f{n}": 0' for n in range(10**5)) + ', "f9": 0}'

REFUSED: list[tuple[str, str, str]] = [
    ("not a number", '{"points": [{"x": NaN}]}', "NaN is not a coordinate"),
    ("infinity", '{"points": [{"x": -Infinity}]}', "-Infinity is not a coordinate"),
    ("beyond all floats", json.dumps(changed("points")).replace("12.5", "1e999"), "points.0.x"),
    ("a huge integer", json.dumps(changed("points", x=10**400)), "points.0.x"),
    ("digits without end", json.dumps(file()).replace("12.5", "9" * 9000), "integer"),
    ("a number in quotes", json.dumps(changed("points", x="12.5")), "points.0.x"),
    ("a yes for a number", json.dumps(changed("points", y=True)), "points.0.y"),
    ("no number", json.dumps(changed("points", y=None)), "points.0.y"),
    ("a third coordinate", json.dumps(changed("contours", xy=[[1, 2, 3]])), "contours.0.xy.0"),
    ("no pair", json.dumps(changed("contours", xy=[1, 2])), "contours.0.xy.0"),
    ("another format", json.dumps(file(format="hipwright.measurements")), "format"),
    ("another version", json.dumps(file(version=2)), "version"),
    ("another unit", json.dumps(file(unit="cm")), "unit"),
    ("no such side", json.dumps(changed("points", side="L")), "points.0.side"),
    ("no observer", json.dumps({k: v for k, v in file().items() if k != "observer"}), "observer"),
    ("an empty observer", json.dumps(file(observer="")), "observer"),
    ("an endless observer", json.dumps(file(observer="x" * 101)), "observer"),
    ("reading zero", json.dumps(file(reading=0)), "reading"),
    ("an endless field", json.dumps(file(**{"p" * 10**5: 1})), "ppp"),
    ("a field twice among many", json.dumps(file())[:-1] + MANY, "twice"),
    ("an unknown field", json.dumps(file(patient="x")), "patient"),
    ("a field twice", '{"observer": "a", "observer": "b"}', "'observer' twice"),
    ("cut off", json.dumps(file())[:-9], "Expecting"),
    ("empty", "", "Expecting value"),
    ("a list", "[]", "dictionary"),
    ("a byte order mark", "\ufeff" + json.dumps(file()), "byte order mark"),
    ("nested without end", "[" * 100_000, "without end"),
]


@pytest.mark.parametrize(
    ("text", "named"), [row[1:] for row in REFUSED], ids=[r[0] for r in REFUSED]
)
def test_a_file_that_is_not_of_the_format_is_refused_by_what_is_wrong(
    text: str, named: str
) -> None:
    with pytest.raises(LandmarkError) as caught:
        parse_landmark_file(text)
    assert named in caught.value.found
    assert "hipwright.landmarks" in caught.value.needed
    assert "landmark-file.md" in caught.value.next_step
    assert caught.value.field == "from"
    assert len(str(caught.value)) < 500


def test_a_landmark_twice_is_refused_by_name() -> None:
    twice = file()
    twice["points"] *= 2
    with pytest.raises(LandmarkError, match="alpha_onset of the left twice"):
        landmarks_from_wire(parse_landmark_file(json.dumps(twice)), FILM)


def test_a_spread_below_zero_is_refused_by_name() -> None:
    with pytest.raises(LandmarkError, match="alpha_onset"):
        landmarks_from_wire(parse_landmark_file(json.dumps(changed("points", sd=-1))), FILM)


def test_a_file_is_read_from_disk(tmp_path: Path) -> None:
    path = tmp_path / "Größe.json"
    path.write_text(json.dumps(file()), "utf-8")
    assert read_landmark_file(path).points[0].id == "alpha_onset"


def test_a_file_that_is_not_there_or_a_folder_is_refused(tmp_path: Path) -> None:
    for path, found in ((tmp_path / "none.json", "No such file"), (tmp_path, "directory")):
        with pytest.raises(LandmarkError, match="cannot read the landmark file") as caught:
            read_landmark_file(path)
        assert found in caught.value.found


def test_bytes_that_are_no_text_and_files_of_hostile_size_are_refused(tmp_path: Path) -> None:
    for content, found in (
        (b"\xff\xfe{\x00", "no UTF-8"),
        (b" " * (LARGEST_FILE + 1), "more than"),
        ("ä".encode() * LARGEST_FILE, "more than"),
    ):
        (tmp_path / "file.json").write_bytes(content)
        with pytest.raises(LandmarkError) as caught:
            read_landmark_file(tmp_path / "file.json")
        assert found in caught.value.found


def test_every_landmark_of_the_catalog_fits_into_a_file_many_times() -> None:
    text = as_json(landmarks_to_wire(ANALYTIC["ap"][0].landmarks))
    assert len(text) < LARGEST_FILE / 10


def test_the_documented_example_is_a_landmark_file() -> None:
    page = (ROOT / "docs" / "reference" / "landmark-file.md").read_text("utf-8")
    example = page.split("```json\n")[1].split("```")[0]
    assert parse_landmark_file(example).unit == "px"
    read_landmark_file(ROOT / "docs" / "reference" / "landmark-example.json")
