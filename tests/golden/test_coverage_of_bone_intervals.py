"""Values that noise can only raise: their intervals cover the truth on noisy surveys.

The truth is a sphere on a round neck, with and without a ball on it (closed form); the surface is
given smooth noise of the size that the interval is made for, and surveyed anew each time.
"""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.domain.evidence import Estimate
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.femur_draws import drawn_femur
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from hipwright.engines.measurement.measure_space import SpacePapers, measure_in_space
from tests.unit.engines.measurement.round_femora import round_femur

SURVEYS = 100
DOUBT = SpaceDoubt(edge_sd_mm=0.12, edge_bias_sd_mm=0.1, count=SURVEYS)
GRIDS = frozenset({"hours", "angles_deg", "stations_mm"})
RAISED = tuple(
    entry.id
    for entry in load().measurements.values()
    if entry.noise_raises is not None and entry.group == "femur in space"
)
AT_NOTHING = frozenset({"head_sphericity.rms"})
"""What is next to 0 on a round head: an interval that begins at 0 always covers it."""
FEMORA = {
    "a ball on it": round_femur(ball=(75.0, 1.5, 10.0, 17.0)),
    "round": round_femur(),
}
PAPERS = SpacePapers(
    catalog=load(),
    border=HipBorder(
        side=Side.RIGHT, app_from_lps=np.eye(3), origin_mm=np.zeros(3), fixed_to="scan"
    ),
    image="scan",
    observer="program",
    inputs_sha256="0" * 64,
    software="hipwright",
)


def coarse(femur: FemurInSpace) -> FemurInSpace:
    """The same with every second hour and angle of its maps: quicker by four."""
    return replace(
        femur,
        hours=femur.hours[::2],
        angles_deg=femur.angles_deg[::2],
        radial_mm=femur.radial_mm[::2, ::2],
        neck_mm=femur.neck_mm[::2],
    )


def one_of(drawn: FemurInSpace, index: int) -> FemurInSpace:
    names = [f.name for f in fields(drawn) if f.name not in GRIDS]
    return replace(drawn, **{name: getattr(drawn, name)[index] for name in names})


def estimates(drawn: FemurInSpace) -> dict[str, Estimate]:
    found = measure_in_space(HipInSpace(femur=drawn, socket=None), PAPERS, only=RAISED)
    return {f.definition: f.estimate for f in found if isinstance(f, Measurement)}


@cache
def repeated(which: str) -> tuple[dict[str, float], list[dict[str, Estimate]]]:
    """The truth, and what each of many noisy surveys of the same femur tells."""
    femur = coarse(FEMORA[which])
    noisy = drawn_femur(femur, np.random.default_rng(20261125), DOUBT)
    truth = {name: e.value for name, e in estimates(noisy).items()}
    told = [
        estimates(drawn_femur(one_of(noisy, k), np.random.default_rng(k), DOUBT))
        for k in range(1, SURVEYS + 1)
    ]
    return truth, told


def covered(which: str, name: str) -> float:
    """Share of the surveys whose interval holds the truth."""
    truth, told = repeated(which)
    low, high = truth[name] - 1e-6, truth[name] + 1e-6
    return float(np.mean([t[name].low <= high and t[name].high >= low for t in told]))


@pytest.mark.parametrize("which", FEMORA)
@pytest.mark.parametrize("name", RAISED)
def test_the_interval_covers_the_truth_as_often_as_it_says(which: str, name: str) -> None:
    assert covered(which, name) >= 0.90


def test_intervals_of_a_bump_are_not_wider_than_they_need_to_be() -> None:
    assert (
        np.mean([covered("a ball on it", name) for name in RAISED if name not in AT_NOTHING])
        <= 0.99
    )


@pytest.mark.parametrize("which", FEMORA)
def test_every_interval_holds_its_value(which: str) -> None:
    for told in repeated(which)[1]:
        for name, estimate in told.items():
            assert estimate.low <= estimate.value <= estimate.high, name
