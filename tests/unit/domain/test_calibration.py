"""A film's scale: absent, known or absurd."""

import math
from typing import Any

import pytest

from hipwright.domain.errors import CalibrationError
from hipwright.domain.study import Calibration, Film, SpacingSource, View


def scale(**changes: Any) -> Calibration:
    parts: dict[str, Any] = {"column_mm": 0.14, "row_mm": 0.15, **changes}
    return Calibration(source=SpacingSource.MARKER, **parts)


def test_only_a_film_without_any_source_is_uncalibrated() -> None:
    assert scale().is_calibrated
    bare = Calibration.uncalibrated(pixel_aspect=1.2)
    assert not bare.is_calibrated
    assert bare.row_mm / bare.column_mm == pytest.approx(1.2)
    assert "pixels" in bare.note


@pytest.mark.parametrize(
    "changes",
    [
        {"column_mm": math.nan},
        {"row_mm": math.inf},
        {"relative_sd": -0.1},
        {"relative_sd": math.nan},
    ],
)
def test_a_scale_that_is_no_number_is_refused(changes: dict[str, float]) -> None:
    with pytest.raises(CalibrationError, match="finite numbers") as caught:
        scale(**changes)
    assert caught.value.field == "calibration"


@pytest.mark.parametrize("mm", [0.001, 14.0, 0.0, -0.15])
def test_a_pixel_of_no_hip_film_is_refused(mm: float) -> None:
    with pytest.raises(CalibrationError, match=r"0\.01 to 5"):
        scale(column_mm=mm)


@pytest.mark.parametrize("aspect", [0.0, -1.0])
def test_an_uncalibrated_pixel_still_has_a_shape(aspect: float) -> None:
    with pytest.raises(CalibrationError, match="positive width and height"):
        Calibration.uncalibrated(pixel_aspect=aspect)


@pytest.mark.parametrize(("columns", "rows"), [(0, 100), (100, 0), (-1, 1)])
def test_a_film_without_pixels_is_refused(columns: int, rows: int) -> None:
    with pytest.raises(CalibrationError, match="at least one pixel"):
        Film(image="x", view=View.PELVIS_AP, columns=columns, rows=rows, calibration=scale())
