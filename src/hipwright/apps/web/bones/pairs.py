"""What a film and the bones say about the same thing, side by side."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from hipwright.apps.web.bones.at_hand import MeasuredSide
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.catalog.film_and_space import FilmAndSpace, film_and_space
from hipwright.domain.keeping import Case, Image
from hipwright.domain.measurement import Finding, Measurement
from hipwright.engines.reporting.bone_tables import difference
from hipwright.engines.reporting.numbers import (
    hour_in_words,
    interval_in_words,
    value_with_unit,
    written,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRow:
    """One pair of values; ``apart`` says in words whether their doubts explain the difference."""

    film_name: str
    film_value: str
    film_interval: str
    space_name: str
    space_value: str
    space_interval: str
    at_tilt: tuple[tuple[str, str], ...]
    difference: str
    apart: str
    because: str


def pair_rows(request: Request, case: Case, film: Image, hip: MeasuredSide) -> tuple[PairRow, ...]:
    """The pairs that were measured on this film and on the bones of this hip."""
    state = web_state(request)
    read = state.measured.of(state.opened.keeper, case)
    shown = next((one for one in read if one.image.id == film.id), None)
    findings = () if shown is None else shown.findings
    rows: list[PairRow] = []
    for pair in film_and_space():
        flat = _found(findings, pair.film, case.side, None)
        deep = _found(hip.findings, pair.space, case.side, pair.hour)
        if flat is None or deep is None:
            continue
        rows.append(_row(flat, deep, hip, pair))
    return tuple(rows)


def _found(
    findings: tuple[Finding, ...], definition: str, side: object, hour: float | None
) -> Measurement | None:
    fitting = (
        f
        for f in findings
        if isinstance(f, Measurement)
        and f.definition == definition
        and f.hour == hour
        and f.side in {side, None}
    )
    return next(fitting, None)


def _row(flat: Measurement, deep: Measurement, hip: MeasuredSide, pair: FilmAndSpace) -> PairRow:
    hour = pair.hour
    between = difference(flat.estimate, deep.estimate)
    step = max(flat.reported_to, deep.reported_to)
    unit = flat.unit.label
    tilted = {
        posture: found
        for posture, findings in hip.tilted.items()
        if (found := _found(findings, deep.definition, deep.side, hour)) is not None
    }
    name = load().measurement(deep.definition).name
    explained = between.low <= 0.0 <= between.high
    return PairRow(
        film_name=flat.name,
        film_value=value_with_unit(flat),
        film_interval=interval_in_words(flat),
        space_name=name if hour is None else f"{name}, {hour_in_words(hour)}",
        space_value=value_with_unit(deep),
        space_interval=interval_in_words(deep),
        at_tilt=tuple((posture, value_with_unit(found)) for posture, found in tilted.items()),
        difference=written(between.value, step) + unit if pair.same_quantity else "–",
        apart=_apart(explained=explained) if pair.same_quantity else "not the same number",
        because=pair.because,
    )


def _apart(*, explained: bool) -> str:
    return "within the doubt of both" if explained else "more than the doubt of both"
