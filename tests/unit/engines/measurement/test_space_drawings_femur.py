from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_drawings import drawing_for
from hipwright.engines.measurement.space_drawings_femur import DRAWINGS
from tests.unit.engines.measurement.round_femora import round_femur, value
from tests.unit.engines.measurement.round_sockets import round_socket

BALL = (60.0, 1.5, 10.0, 17.0)


def hip(**other: np.ndarray) -> HipInSpace:
    shank = np.array([[-22.0, -20.0, -420.0], [22.0, -20.0, -420.0]])
    femur = round_femur(ball=BALL, tibial_condyles=shank, malleoli=shank - [0.0, 0.0, 360.0])
    return HipInSpace(femur=replace(femur, **other), socket=None)


def test_every_value_of_the_femur_can_be_drawn() -> None:
    for name in DRAWINGS:
        hours = load().measurement(name).hours
        drawn = drawing_for(name, hip(), hours[3] if hours else None)
        assert drawn is not None, name
        assert drawn.points, name
        assert drawn.lines, name


def test_every_entry_of_the_femur_has_a_drawing() -> None:
    groups = {"femur in space"}
    entries = {entry.id for entry in load().measurements.values() if entry.group in groups}
    assert entries == DRAWINGS.keys()


def test_the_onset_is_drawn_where_it_was_measured() -> None:
    surveyed = hip()
    assert surveyed.femur is not None
    drawn = drawing_for("alpha_angle.radial", surveyed, 1.5)
    assert drawn is not None
    onset = next(p.at_mm for p in drawn.points if p.name.startswith("where"))
    axis = surveyed.femur.neck_axis
    angle = np.degrees(np.arccos(onset @ axis / np.linalg.norm(onset)))
    alphas = value(surveyed.femur, "alpha_angle.radial")
    assert angle == pytest.approx(alphas[3], abs=1e-6)
    assert np.linalg.norm(onset) == pytest.approx(24.5, abs=0.05)


def test_what_could_not_be_measured_is_not_drawn() -> None:
    without_knee = hip(posterior_condyles=np.full((2, 3), np.nan))
    assert drawing_for("femoral_version.murphy", without_knee) is None
    assert drawing_for("head_radius", HipInSpace(femur=None, socket=None)) is None


def test_a_head_without_a_bump_shows_its_axis_alone() -> None:
    drawn = drawing_for("cam_height", HipInSpace(femur=round_femur(), socket=None))
    assert drawn is not None
    assert [line.name for line in drawn.lines] == ["axis of the neck"]


def test_combined_version_is_drawn_on_both_bones() -> None:
    both = HipInSpace(femur=round_femur(), socket=round_socket())
    of_both = drawing_for("combined_version.murphy", both)
    of_femur = drawing_for("combined_version.murphy", HipInSpace(femur=both.femur, socket=None))
    assert of_both is not None
    assert of_femur is not None
    assert len(of_both.lines) > len(of_femur.lines)


def test_values_of_the_socket_are_found_as_well() -> None:
    both = HipInSpace(femur=None, socket=round_socket())
    assert drawing_for("acetabular_version.equatorial", both) is not None
    assert drawing_for("no_such_entry", both) is None
