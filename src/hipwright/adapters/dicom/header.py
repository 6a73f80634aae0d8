"""Plain facts out of a header that may hold anything."""

from __future__ import annotations

import math
from typing import Any

from pydicom.dataset import Dataset
from pydicom.multival import MultiValue

from hipwright.engines.imaging.calibration import FilmScaleFacts, Spacing


def text(dataset: Dataset, keyword: str) -> str:
    """A value as text; empty where there is none or it cannot be read."""
    value = value_of(dataset, keyword)
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip()
    parts = value if isinstance(value, MultiValue | list | tuple) else [value]
    try:
        return "\\".join(str(part) for part in parts).strip()
    except Exception:  # noqa: BLE001, RUF100 - person names decode late and may fail
        return ""


def value_of(dataset: Dataset, keyword: str) -> Any:
    """A value, or ``None`` where there is none or it cannot be read."""
    try:
        return dataset.get(keyword)
    except Exception:  # noqa: BLE001, RUF100 - late conversion of a damaged element
        return None


def numbers(dataset: Dataset, keyword: str) -> tuple[float, ...]:
    """Finite numbers of a value; none of them if one is not."""
    value = value_of(dataset, keyword)
    if value is None or isinstance(value, bytes):
        return ()
    many = [value] if isinstance(value, str) or not hasattr(value, "__iter__") else list(value)
    try:
        found = tuple(float(each) for each in many)
    except (TypeError, ValueError):
        return ()
    return found if all(map(math.isfinite, found)) else ()


def number(dataset: Dataset, keyword: str) -> float | None:
    """The first number of a value."""
    found = numbers(dataset, keyword)
    return found[0] if found else None


def spacing(dataset: Dataset, keyword: str) -> Spacing | None:
    """A pair of spacings, row spacing first (PS3.3 section 10.7.1.3)."""
    value = text(dataset, keyword)
    if not value:
        return None
    found = numbers(dataset, keyword)
    if len(found) != 2:
        return Spacing(row_mm=math.nan, column_mm=math.nan)
    return Spacing(row_mm=found[0], column_mm=found[1])


def film_scale_facts(dataset: Dataset) -> FilmScaleFacts:
    """What the header says about the scale of a projection film."""
    aspect = numbers(dataset, "PixelAspectRatio")
    usable = len(aspect) == 2 and min(aspect) > 0
    return FilmScaleFacts(
        pixel_spacing=spacing(dataset, "PixelSpacing"),
        detector_spacing=spacing(dataset, "ImagerPixelSpacing")
        or spacing(dataset, "NominalScannedPixelSpacing"),
        calibration_type=text(dataset, "PixelSpacingCalibrationType") or None,
        stated_magnification=number(dataset, "EstimatedRadiographicMagnificationFactor"),
        source_to_detector_mm=number(dataset, "DistanceSourceToDetector"),
        source_to_patient_mm=number(dataset, "DistanceSourceToPatient"),
        pixel_aspect=aspect[0] / aspect[1] if usable else 1.0,
    )
