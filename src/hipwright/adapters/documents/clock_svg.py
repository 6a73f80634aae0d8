"""A clock face as one SVG picture, for screens and documents alike.

Colors stand as attributes, so the picture needs no styles; the classes let a screen give its own.
"""

from __future__ import annotations

from html import escape

from hipwright.domain.clock_face import ClockFace, ClockRing, ClockSeries, Place

FACE = 100.0
ROOM = 136.0
FONT = "Source Sans 3, Helvetica, Arial, sans-serif"

INK, SOFT, HAIR = "#1a2426", "#435053", "#dadedb"
OWN, OTHER, THRESHOLD = "#0b5963", "#a2540f", "#6b4300"
_SIDES = (
    {"color": OWN, "dash": "", "round": True},
    {"color": OTHER, "dash": "5 3", "round": False},
)


def clock_svg(face: ClockFace, *, width: int = 340) -> str:
    """Draw a clock face; the first hip with a line and dots, the second dashed with diamonds."""
    size = 2 * ROOM
    parts = [_rings(face), _hours(face)]
    parts += [_series(series, number) for number, series in reversed(list(enumerate(face.series)))]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="clock" role="img" '
        f'aria-label="{escape(face.label)}" viewBox="{-ROOM} {-ROOM} {size} {size}" '
        f'width="{width}" height="{width}" font-family="{FONT}">{"".join(parts)}</svg>'
    )


def _rings(face: ClockFace) -> str:
    drawn: list[str] = [
        f'<circle class="face" r="{FACE}" fill="#ffffff" stroke="{HAIR}" stroke-width="1"/>'
    ]
    drawn += [_ring(ring) for ring in face.rings if not ring.threshold]
    drawn += [_ring(ring) for ring in face.rings if ring.threshold]
    return "".join(drawn)


def _ring(ring: ClockRing) -> str:
    r = FACE * ring.radius
    if ring.threshold:
        return (
            f'<circle class="threshold" r="{r:.1f}" fill="none" stroke="{THRESHOLD}" '
            f'stroke-width="1.1" stroke-dasharray="1.5 2.5"><title>{escape(ring.text)}: '
            f"{escape(ring.threshold)}</title></circle>"
            f"{_text(3, -r + 3.2, ring.text, size=8.5, color=THRESHOLD, weight=600)}"
        )
    return (
        f'<circle class="ring" r="{r:.1f}" fill="none" stroke="{HAIR}" stroke-width="0.8"/>'
        f"{_text(-3, r + 3, ring.text, size=8, color=SOFT, anchor='end')}"
    )


def _hours(face: ClockFace) -> str:
    drawn: list[str] = []
    for name, inner, outer in face.hours:
        x1, y1 = _scaled(inner)
        x2, y2 = _scaled(outer)
        drawn.append(
            f'<line class="spoke" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
            f'stroke="{HAIR}" stroke-width="0.8"/>'
        )
        drawn.append(_text(1.1 * x2, 1.1 * y2 + 3.6, name, size=10.5, color=INK, anchor="middle"))
    for text, x, y, anchor in (
        ("above", 0.0, -FACE - 23, "middle"),
        ("below", 0.0, FACE + 30, "middle"),
    ):
        drawn.append(_text(x, y, text, size=9.5, color=SOFT, anchor=anchor))
    for text, x, turn in (("front", FACE + 26, 90), ("back", -FACE - 26, -90)):
        drawn.append(
            f'<g transform="translate({x:.0f} 0) rotate({turn})">'
            f"{_text(0, 3, text, size=9.5, color=SOFT, anchor='middle')}</g>"
        )
    return "".join(drawn)


def _series(series: ClockSeries, number: int) -> str:
    side = _SIDES[min(number, 1)]
    color = side["color"]
    dash = f' stroke-dasharray="{side["dash"]}"' if side["dash"] else ""
    drawn: list[str] = []
    for value in series.values:
        x1, y1 = _scaled(value.low)
        x2, y2 = _scaled(value.high)
        drawn.append(
            f'<line class="doubt" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
            f'stroke="{color}" stroke-opacity="0.35" stroke-width="3.2" stroke-linecap="round"/>'
        )
    for run in series.runs:
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in map(_scaled, run))
        drawn.append(
            f'<path class="run" d="M{path}" fill="none" stroke="{color}" stroke-width="1.8" '
            f'stroke-linejoin="round"{dash}/>'
        )
    for value in series.values:
        x, y = _scaled(value.at)
        shape = (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"'
            if side["round"]
            else f'<path d="M{x:.1f} {y - 4:.1f}l4 4l-4 4l-4 -4z"'
        )
        drawn.append(
            f'{shape} class="value" data-hour="{value.hour:g}" fill="{color}" '
            f'stroke="#ffffff" stroke-width="1">'
            f"<title>{escape(series.name)}, {value.hour:g}: {escape(value.text)} "
            f"({escape(value.interval)}) {escape(value.words)}</title>"
            f"</{'circle' if side['round'] else 'path'}>"
        )
    hip = escape(series.name)
    return f'<g class="series side-{number}" data-hip="{hip}">{"".join(drawn)}</g>'


def _scaled(place: Place) -> Place:
    return (FACE * place[0], FACE * place[1])


def _text(
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    color: str,
    anchor: str = "start",
    weight: int = 400,
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" font-weight="{weight}" fill="{color}" '
        f'text-anchor="{anchor}">{escape(text)}</text>'
    )
