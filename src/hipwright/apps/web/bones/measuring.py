"""Measuring the opened bones once for all parts of a page."""

from __future__ import annotations

from starlette.requests import HTTPConnection

from hipwright.apps.web.bones.at_hand import MeasuredBones, MeasuredSide
from hipwright.apps.web.bones.desk import Opened, bones_of, shelf_of
from hipwright.domain.side import Side


def measured_of(asked: HTTPConnection, opened: Opened) -> MeasuredBones:
    """What the opened bones measure; other parts of the page that ask meanwhile wait for it."""
    at_hand = bones_of(asked)
    reading = opened.reading
    key = ("measured", opened.build.id, reading and reading.observer, opened.version)
    return shelf_of(asked).get(key, lambda: at_hand.measured(opened.build, reading))


def side_of(measured: MeasuredBones, side: Side) -> MeasuredSide:
    """One hip; one that has no bones has no findings."""
    return measured.sides.get(side, MeasuredSide(findings=()))
