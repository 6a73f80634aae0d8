"""The study's findings as tables of a Markdown page."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from hipwright.catalog import load
from hipwright.domain.measurement import Unit
from hipwright.domain.study import View
from tests.studies.automatic import CircleError, LevelError
from tests.studies.coverage import Bin, Coverage, reliability
from tests.studies.errors import Error, Row, Summary, in_catalog_order, summaries
from tests.studies.real_bones import EdgeOnFilm, HeadOnFilm
from tests.studies.signs import SIGNS, SignChange
from tests.studies.study import Study

VIEW_WORDS = {
    View.PELVIS_AP: "AP pelvis",
    View.DUNN_45: "45° Dunn",
    View.FALSE_PROFILE: "false profile",
}


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table, numbers to the right."""
    lines = [f"| {' | '.join(head)} |", "|" + "---|" + "---:|" * (len(head) - 1)]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def of_space(study: Study) -> str:
    return _errors(study.space)


def of_projection(study: Study) -> str:
    known = {error.row for error in study.space}
    return _errors([error for error in study.projected if error.row not in known])


def _errors(errors: Sequence[Error]) -> str:
    found = summaries(errors)
    head = ("measurement", "neutral: bias ± SD", "worst", "turned: bias ± SD", "worst", "n")
    rows: list[tuple[str, ...]] = []
    for row in in_catalog_order({key for key, _ in found}):
        neutral, turned = found.get((row, True)), found.get((row, False))
        counts = "/".join(str(s.count) if s else "0" for s in (neutral, turned))
        rows.append((_named(row), *_two(row, neutral), *_two(row, turned), counts))
    return table(head, rows)


def _named(row: Row) -> str:
    entry = load().measurement(row[0])
    words = f", {row[2]}" if row[2] else ""
    unit = "" if entry.unit is Unit.ONE else f" ({entry.unit.label.strip()})"
    return f"{entry.name}{words}, {VIEW_WORDS[row[1]]}{unit}"


def _two(row: Row, summary: Summary | None) -> tuple[str, str]:
    if summary is None:
        return "–", "–"
    digits = 3 if load().measurement(row[0]).unit is Unit.ONE else 2

    def signed(value: float) -> str:
        return f"{value:+.{digits}f}".replace("-", "−")

    return f"{signed(summary.bias)} ± {summary.sd:.{digits}f}", signed(summary.worst)


def of_signs(study: Study) -> str:
    head = ("sign", "in neutral", "hips", "tilt until it changes", "rotation until it changes")
    rows: list[tuple[str, ...]] = []
    for sign in SIGNS:
        for present, words in ((True, "present"), (False, "absent")):
            own = [s for s in study.signs if s.sign == sign and s.present is present]
            if own:
                name = load().measurement(sign).name
                ways = (lambda s: s.tilt_deg), (lambda s: s.rotation_deg)
                rows.append((name, words, str(len(own)), *(_turned(own, way) for way in ways)))
    return table(head, rows)


def _turned(own: Sequence[SignChange], way: Callable[[SignChange], float | None]) -> str:
    known = [value for value in map(way, own) if value is not None]
    never = len(own) - len(known)
    words = f"{np.mean(known):.1f}° ± {np.std(known):.1f}°" if known else "–"
    return f"{words}; not within 16°: {never}" if never else words


def of_coverage(study: Study) -> str:
    coverage = study.coverage
    head = ("measurement", "covers the perfect reading", "covers the truth in space", "n")
    rows: list[tuple[str, ...]] = []
    known = {*coverage.perfect, *coverage.space}
    for name, view, _ in in_catalog_order({(name, view, "") for name, view in known}):
        own = coverage.perfect.get((name, view), [])
        space = coverage.space.get((name, view))
        rows.append(
            (
                f"{load().measurement(name).name}, {VIEW_WORDS[view]}",
                _percent(own) if own else "",
                _percent(space) if space else "",
                str(len(own or space or [])),
            )
        )
    return table(head, rows)


def _percent(hits: Sequence[bool]) -> str:
    return f"{100 * np.mean(hits):.1f} %"


def of_classes(coverage: Coverage) -> str:
    parts = ("any class: stated", "right", "n", "leading class: stated", "right", "n")
    head = ("stated share", *parts, "right in space", "n")
    found = [
        {(b.low, b.high): b for b in reliability(pairs)}
        for pairs in (coverage.stated, coverage.leading, coverage.leading_in_space)
    ]
    rows: list[tuple[str, ...]] = []
    for edges in found[0]:
        each, lead, space = (f.get(edges) for f in found)
        last = _cells(space)[1:]
        words = f"{100 * edges[0]:.0f}–{100 * edges[1]:.0f} %"
        rows.append((words, *_cells(each), *_cells(lead), *last))
    return table(head, rows)


def _cells(found: Bin | None) -> tuple[str, str, str]:
    if found is None:
        return "–", "–", "0"
    return f"{100 * found.stated:.1f} %", f"{100 * found.right:.1f} %", str(found.count)


def of_circles(errors: Sequence[CircleError]) -> str:
    groups = {
        "none": (0, 0.5),
        "0.5–2.5 mm": (0.5, 2.5),
        "2.5–4 mm": (2.5, 4.0),
        "4–5 mm": (4.0, 9.0),
    }
    parts = (f"{fit}: {what}" for fit in ("plain", "robust") for what in ("center", "radius"))
    head = ("bump", "outlines", *parts)
    rows: list[tuple[str, ...]] = []
    for words, (low, high) in groups.items():
        own = [e for e in errors if low <= e.bump_mm < high]
        if own:
            plain = _circle([e.plain_center for e in own], [e.plain_radius for e in own])
            robust = _circle([e.robust_center for e in own], [e.robust_radius for e in own])
            rows.append((words, str(len(own)), *plain, *robust))
    return table(head, rows)


def _circle(center: Sequence[float], radius: Sequence[float]) -> tuple[str, str]:
    off = f"{np.mean(radius):+.2f} ± {np.std(radius):.2f} mm".replace("-", "−")
    return f"{np.mean(center):.2f} ({max(center):.2f}) mm", off


def of_levels(errors: Sequence[LevelError]) -> str:
    head = ("baseline", "neutral: RMS", "worst", "turned: RMS", "worst")
    ways: dict[str, Callable[[LevelError], float]] = {
        "head centers, perfect reading": lambda e: e.heads,
        "teardrops, perfect reading": lambda e: e.teardrops,
        "head centers, one ordinary reading": lambda e: e.noisy_heads,
    }
    rows: list[tuple[str, ...]] = []
    for words, way in ways.items():
        cells: list[str] = []
        for neutral in (True, False):
            off = np.abs([way(e) for e in errors if e.neutral is neutral])
            cells += [f"{np.sqrt(np.mean(off**2)):.2f}°", f"{off.max():.2f}°"]
        rows.append((words, *cells))
    return table(head, rows)


def of_heads(heads: Sequence[HeadOnFilm]) -> str:
    grouped: dict[tuple[str, str], list[HeadOnFilm]] = defaultdict(list)
    for head in heads:
        grouped[head.side.value, head.against].append(head)
    return table(
        ("head, and the sphere it is held against", "films", "center, mean (worst)", "radius"),
        [
            (f"{side}, {against}", str(len(own)),
             *_circle([h.center_mm for h in own], [h.radius_mm for h in own]))
            for (side, against), own in grouped.items()
        ],
    )  # fmt: skip


def of_edges(edges: Sequence[EdgeOnFilm]) -> str:
    rows: list[tuple[str, ...]] = []
    for side in sorted({edge.side.value for edge in edges}):
        own = [e for e in edges if e.side.value == side]
        neutral = next(e for e in own if e.position.is_neutral)
        off = np.array([e.film_deg - e.space_deg for e in own if not e.position.is_neutral])
        turned = f"{off.mean():+.1f}° ± {off.std():.1f}°, worst {off[np.abs(off).argmax()]:+.1f}°"
        degrees = (f"{value:.1f}°" for value in (neutral.space_deg, neutral.film_deg))
        rows.append((side, *degrees, turned.replace("-", "−")))
    return table(("hip", "in space", "on the film, neutral", "turned: film less space"), rows)


def all_tables(study: Study) -> dict[str, str]:
    """Every table by the name that the page calls it."""
    return {
        "space": of_space(study),
        "projection": of_projection(study),
        "signs": of_signs(study),
        "coverage": of_coverage(study),
        "classes": of_classes(study.coverage),
        "circles": of_circles(study.circles),
        "levels": of_levels(study.levels),
        "heads": of_heads(study.heads),
        "edges": of_edges(study.edges),
    }
