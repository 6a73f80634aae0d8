"""Tables of findings on the terminal: values with intervals and classes, and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rich.console import Console
from rich.table import Table

from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.study import VIEW_NAMES
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit, written


def print_findings(console: Console, findings: Iterable[Finding], title: str) -> None:
    """A row for each single value."""
    table = Table(title=title, title_justify="left")
    for heading in ("Side", "Measurement"):
        table.add_column(heading, overflow="fold")
    for heading in ("Value", "95 % interval"):
        table.add_column(heading, justify="right", overflow="fold")
    table.add_column("Class", overflow="fold")
    for found in findings:
        if isinstance(found, Measurement) and found.hour is None:
            table.add_row(*_row(found))
    console.print(table)


def print_hours(console: Console, findings: Iterable[Finding]) -> None:
    """A table of the values by the clock: a row an hour, a column a series and side."""
    series: dict[tuple[str, str], dict[float, str]] = {}
    for found in findings:
        if isinstance(found, Measurement) and found.hour is not None:
            side = "" if found.side is None else found.side.value
            column = series.setdefault((found.name, side), {})
            column[found.hour] = value_with_unit(found)
    if series:
        _print_clock(console, series)


def _print_clock(console: Console, series: Mapping[tuple[str, str], Mapping[float, str]]) -> None:
    hours = sorted({hour for column in series.values() for hour in column}, key=_from_above)
    table = Table(title="By the clock (12 above, 3 in front)", title_justify="left")
    table.add_column("Hour", justify="right")
    for name, side in series:
        table.add_column(f"{name}, {side}", justify="right", overflow="fold")
    for hour in hours:
        table.add_row(written(hour, 0.1), *(column.get(hour, "") for column in series.values()))
    console.print(table)


def _from_above(hour: float) -> float:
    return hour % 12.0


def print_reasons(console: Console, findings: Sequence[Finding]) -> None:
    """Why the others are not measured; of a series once, and only if no hour is."""
    have = {(f.definition, f.side) for f in findings if isinstance(f, Measurement) and f.hour}
    left_out: dict[tuple[object, ...], NotMeasured] = {}
    for number, found in enumerate(findings):
        if not isinstance(found, NotMeasured):
            continue
        if found.hour is None:
            left_out[found.definition, found.side, number] = found
        elif (found.definition, found.side) not in have:
            left_out.setdefault((found.definition, found.side), found)
    if left_out:
        console.print(f"\nNot measured ({len(left_out)}):")
    for found in left_out.values():
        side = "" if found.side is None else f" {found.side.value}"
        console.print(f"  {found.name}{side}: {found.reason}", highlight=False)


def _row(found: Measurement) -> tuple[str, str, str, str, str]:
    side = "" if found.side is None else found.side.value
    words = "" if found.classification is None else found.classification.in_words()
    name = f"{found.name} ({VIEW_NAMES[found.view]})"
    return side, name, value_with_unit(found), interval_in_words(found), words
