"""Measurements and reported cases to print: made up, or measured on an analytic film."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from hipwright.catalog import load
from hipwright.domain.evidence import Estimate, Provenance
from hipwright.domain.measurement import Classification, Finding, Measurement
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.classes import classify
from hipwright.engines.measurement.measure import measure_film, read_film
from hipwright.engines.reporting.reported_case import ReportedCase, ReportedFilm, ReportedPicture
from hipwright.phantoms.analytic_film import pelvis_film
from hipwright.phantoms.analytic_hip import AnalyticHip

LCEA = "lateral_center_edge_angle.sourcil"
CAUTION = "Take care: one input among several."


@cache
def analytic_findings() -> tuple[Finding, ...]:
    """Everything an analytic AP pelvis measures, left hip first."""
    made = pelvis_film({side: AnalyticHip() for side in Side})
    read = read_film(made.film, made.landmarks, catalog=load())
    return measure_film(read, [FilmBorder(film=made.film, side=side) for side in Side])


def a_measurement(
    value: float, low: float, high: float, *, definition: str = LCEA, **changes: Any
) -> Measurement:
    """A measurement of a left hip with a given interval, classed as the catalog says."""
    entry = load().measurement(definition)
    draws = np.array([value, *np.linspace(low, high, 200)])
    found = Measurement(
        definition=definition,
        name=entry.name,
        abbreviation=entry.abbreviation,
        unit=entry.unit,
        estimate=Estimate(value=value, low=low, high=high),
        side=Side.LEFT,
        view=entry.views[0],
        image="film-1",
        observer="human:ab",
        provenance=Provenance(
            method=definition,
            by="human:ab",
            sources=entry.defined_by,
            inputs_sha256="0" * 64,
            software="hipwright",
        ),
        reported_to=entry.reported_to,
        classification=classify(
            draws, Estimate(value=value, low=low, high=high), entry, entry.views[0], load()
        ),
    )
    return replace(found, **changes)


def classed(found: Measurement) -> Classification:
    """Its class, which it must have."""
    assert found.classification is not None
    return found.classification


def a_film(*findings: Finding, **changes: Any) -> ReportedFilm:
    """A reported AP pelvis."""
    picture = ReportedPicture(
        crop_px=(0.0, 0.0, 40.0, 30.0), text_width_share=0.5, marks=(), shows="left hip"
    )
    film = ReportedFilm(
        image="film-1",
        name="AP pelvis",
        when="at 26.7 years",
        observer="AB",
        columns=40,
        rows=30,
        pictures=(picture,),
        findings=findings,
        facts=(("Position", "supine"),),
    )
    return replace(film, **changes)


def a_case(*films: ReportedFilm, **changes: Any) -> ReportedCase:
    """A reported left hip."""
    case = ReportedCase(
        code="K7M-4QX",
        side=Side.LEFT,
        side_name="left",
        person=(("Sex", "female"),),
        invented=True,
        made_on="2026-02-03",
        software="hipwright 9",
        caution=CAUTION,
        films=films,
    )
    return replace(case, **changes)
