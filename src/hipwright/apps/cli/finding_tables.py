"""Tables of findings on the terminal: values with intervals and classes, and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from hipwright.catalog import load
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.study import VIEW_NAMES
from hipwright.engines.reporting.numbers import (
    hour_in_words,
    interval_in_words,
    value_with_unit,
)

_CLASS_WIDTH, _VALUE_WIDTH, _HOUR_WIDTH, _FRAME_WIDTH = 24, 8, 9, 3
"""Widest class, narrowest value, room of the hours and of a border, in characters."""


def print_findings(console: Console, findings: Iterable[Finding], title: str) -> None:
    """A row for each single value, grouped as the catalog groups them."""
    rows = [f for f in findings if isinstance(f, Measurement) and f.hour is None]
    sides, views = {f.side for f in rows}, {f.view for f in rows}
    for side in sides if len(sides) == 1 else ():
        title += "" if side is None else f", {side.value} hip"
    for view in views if len(views) == 1 else ():
        title += f" ({VIEW_NAMES[view]})"
    table = Table(title=title, title_justify="left")
    if len(sides) > 1:
        table.add_column("Side")
    table.add_column("Measurement", ratio=1)
    for heading in ("Value", "95 % interval"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("Class", max_width=_CLASS_WIDTH)
    for group, grouped in _by_group(rows).items():
        table.add_section()
        head = [Text(f"{group[:1].upper()}{group[1:]}", style="bold"), "", "", ""]
        table.add_row(*(["", *head] if len(sides) > 1 else head))
        for found in grouped:
            table.add_row(*_row(found, with_side=len(sides) > 1, with_view=len(views) > 1))
    console.print(table)


def _by_group(rows: Sequence[Measurement]) -> dict[str, list[Measurement]]:
    entries = load().measurements
    groups: dict[str, list[Measurement]] = {}
    for found in rows:
        groups.setdefault(entries[found.definition].group, []).append(found)
    return groups


def print_hours(console: Console, findings: Iterable[Finding]) -> None:
    """The values by the clock: a row an hour, a column a series, as many tables as need be."""
    for side, of_side in _by_side(findings).items():
        title = f"By the clock, {side} hip (12 above, 3 in front)"
        for widths in _fitting(list(of_side), console.width):
            _print_clock(console, title, of_side, widths)


def _by_side(findings: Iterable[Finding]) -> dict[str, dict[str, dict[float, str]]]:
    series: dict[str, dict[str, dict[float, str]]] = {}
    for found in findings:
        if isinstance(found, Measurement) and found.hour is not None:
            side = "" if found.side is None else found.side.value
            column = series.setdefault(side, {}).setdefault(_short(found.name), {})
            column[found.hour % 12.0] = value_with_unit(found)
    return series


def _short(name: str) -> str:
    """What the title of the table says already is left out of a column's heading."""
    return name.removesuffix(" by the clock").removesuffix(" in space")


def _fitting(names: Sequence[str], width: int) -> list[dict[str, int]]:
    """Widths of columns, in the fewest tables whose headings break at spaces alone."""
    parts: list[dict[str, int]] = [{}]
    room = width - _HOUR_WIDTH
    for name in names:
        needed = max(_VALUE_WIDTH, *(len(word) for word in name.split()))
        if parts[-1] and _whole_width({**parts[-1], name: needed}) > room:
            parts.append({})
        parts[-1][name] = needed
    unbroken = [{name: max(least, len(name)) for name, least in part.items()} for part in parts]
    return [
        wide if _whole_width(wide) <= room else narrow
        for wide, narrow in zip(unbroken, parts, strict=True)
    ]


def _whole_width(columns: Mapping[str, int]) -> int:
    return sum(_FRAME_WIDTH + width for width in columns.values())


def _print_clock(
    console: Console,
    title: str,
    series: Mapping[str, Mapping[float, str]],
    widths: Mapping[str, int],
) -> None:
    columns = [series[name] for name in widths]
    hours = sorted({hour for column in columns for hour in column})
    table = Table(title=title, title_justify="left")
    table.add_column("Hour", justify="right", no_wrap=True)
    for name, width in widths.items():
        table.add_column(name, justify="right", width=width)
    for hour in hours:
        table.add_row(hour_in_words(hour), *(column.get(hour, "") for column in columns))
    console.print(table)


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


def _row(found: Measurement, *, with_side: bool, with_view: bool) -> list[str]:
    words = "" if found.classification is None else found.classification.in_words()
    name = f"{found.name} ({VIEW_NAMES[found.view]})" if with_view else found.name
    row = [name, value_with_unit(found), interval_in_words(found), words]
    side = "" if found.side is None else found.side.value
    return [side, *row] if with_side else row
