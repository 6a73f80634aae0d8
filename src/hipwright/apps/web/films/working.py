"""The reading somebody is working on: landmarks as they move, findings as they follow."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any

from hipwright.adapters.wire.documents import SOFTWARE
from hipwright.apps.web.films.messages import Chosen, Item, Key, Moved, landmark_set, side_name
from hipwright.apps.web.films.rows import mark_of, row_of
from hipwright.apps.web.films.trust import trust_of
from hipwright.catalog import Catalog, load
from hipwright.catalog.entries import LandmarkKind, MeasurementDefinition
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.keeping import Image
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.geometry.circles import fit_circle
from hipwright.engines.measurement.measure import ReadFilm, measure_film, read_film
from hipwright.engines.reporting.film_marks import fitted_circles, marks_for
from hipwright.workflows.measure_hip import check_landmarks
from hipwright.workflows.reading_doubt import Circumstances

Json = dict[str, Any]

LEVELS_THE_PELVIS = frozenset({"femoral_head", "femoral_head_center", "teardrop_inferior"})
"""Landmarks that move every measurement that needs the pelvic baseline."""


class WorkingReading:
    """One screen's landmarks on one film, and what was last told about them.

    Not safe for two threads at once; each socket has its own.
    """

    def __init__(
        self,
        image: Image,
        observer: str,
        *,
        circumstances: Circumstances | None = None,
        catalog: Catalog | None = None,
    ) -> None:
        self.image = image
        self.film = image.film()
        self.observer = observer
        self.catalog = load() if catalog is None else catalog
        self.given = circumstances or Circumstances()
        self.items: dict[Key, Item] = {}
        self.chosen: Chosen | None = None
        self._told: dict[tuple[str, object], Json] = {}
        self._told_trust: Json | None = None
        self._read: ReadFilm | None = None

    @property
    def sides(self) -> list[Side]:
        """The hips this film shows."""
        return [side for side in Side if self.image.laterality.shows(side)]

    def take(self, moved: Moved) -> frozenset[str]:
        """Take in what changed; return the ids of the landmarks it touched."""
        if moved.all:
            touched = {item.id for item in self.items.values()}
            self.items = {}
        else:
            touched = {drop.id for drop in moved.dropped}
        for drop in moved.dropped:
            self.items.pop((drop.id, drop.side), None)
        self.items.update({item.key: item for item in moved.items})
        self.chosen = moved.chosen
        self._read = None
        return frozenset(touched | {item.id for item in moved.items})

    def landmarks(self) -> LandmarkSet:
        """The finished landmarks."""
        return self._set(self.items.values())

    def _set(self, items: Iterable[Item]) -> LandmarkSet:
        return landmark_set(
            tuple(items),
            image=self.image.id,
            observer=self.observer,
            reading=1,
            catalog=self.catalog,
        )

    def first_answer(self, touched: Collection[str]) -> Json:
        """What the touched landmarks change, with the marks: sent at once."""
        _, problems = self._read_anew()
        wanted = {entry.id for entry in self._affected(touched)}
        rows = self._news(wanted) if wanted else []
        answer: Json = {
            "rows": rows,
            "marks": self._marks(),
            "circles": self._circles(),
            "problems": problems,
        }
        if self._told_trust is None or set(touched) & (LEVELS_THE_PELVIS | self._tells_position):
            trust = trust_of(self._current())
            if trust != self._told_trust:
                self._told_trust = answer["trust"] = trust
        return answer

    def rest(self) -> Json | None:
        """Everything else that changed since it was last told, ``None`` if nothing did."""
        rows = self._news(None)
        return {"rows": rows} if rows else None

    @cached_property
    def _goes_into(self) -> Mapping[str, frozenset[str]]:
        """The landmarks that each measurement is made of, placed or derived."""
        return {
            entry.id: frozenset(self.catalog.to_place_for(entry))
            | {name.landmark for name in entry.inputs}
            for entry in self.catalog.measurements.values()
        }

    @cached_property
    def _tells_position(self) -> frozenset[str]:
        """Landmarks that tell the film's position, on which some signs depend."""
        limits = (limit.measurement for limit in self.catalog.position_limits)
        entries = (self.catalog.measurement(name) for name in limits)
        return frozenset(name for e in entries for name in self.catalog.to_place_for(e))

    def forget_told(self) -> None:
        """Tell everything again: the screen on the other end is new."""
        self._told = {}
        self._told_trust = None

    def _read_anew(self) -> tuple[ReadFilm, list[Json]]:
        problems: list[Json] = []
        items = list(self.items.values())
        kept = [item for item in items if not self._refused(item, problems)]
        landmarks = self._set(kept)
        check_landmarks(self.film, landmarks, self.catalog)
        read = read_film(
            self.film,
            landmarks,
            catalog=self.catalog,
            doubt=self.given.doubt,
            sex=self.given.sex,
            software=SOFTWARE,
        )
        self._read = read
        return read, problems

    def _refused(self, item: Item, problems: list[Json]) -> bool:
        """Whether the clicks of a circle hold none; the reason goes to the problems."""
        if self.catalog.landmark(item.id).kind is not LandmarkKind.CIRCLE:
            return False
        contour = self._set([item]).contours
        if not contour:
            return False
        try:
            fit_circle(contour[0].xy_px)
        except DegenerateGeometryError as error:
            problems.append({"id": item.id, "side": item.side, "message": str(error)})
            return True
        return False

    def _affected(self, touched: Collection[str]) -> Iterator[MeasurementDefinition]:
        ids = set(touched)
        levels = bool(ids & LEVELS_THE_PELVIS)
        places = bool(ids & self._tells_position)
        scales = not self.film.calibration.is_calibrated and "femoral_head" in ids
        for entry in self.catalog.measurements.values():
            own = ids & self._goes_into[entry.id]
            leveled = levels and entry.needs_baseline
            if own or scales or leveled or (places and entry.position_sensitive):
                yield entry

    def _news(self, only: Collection[str] | None) -> list[Json]:
        read = self._current()
        borders = [FilmBorder(film=self.film, side=side) for side in self.sides]
        news: list[Json] = []
        for finding in measure_film(read, borders, only=only):
            key = (finding.definition, finding.side)
            row = row_of(finding, self.catalog, sex=self.given.sex)
            if self._told.get(key) != row:
                self._told[key] = row
                news.append(row)
        return news

    def _current(self) -> ReadFilm:
        return self._read_anew()[0] if self._read is None else self._read

    def _marks(self) -> list[Json]:
        if self.chosen is None or self.chosen.id not in self.catalog.measurements:
            return []
        side = self.sides[0] if self.chosen.side is None else Side(self.chosen.side)
        border = FilmBorder(film=self.film, side=side)
        drawn = (mark_of(mark) for mark in marks_for(self.chosen.id, self._current(), border))
        return [mark for mark in drawn if mark is not None]

    def _circles(self) -> list[Json]:
        return [
            {
                "id": landmark,
                "side": side_name(side) if isinstance(side, Side) else None,
                "xy": circle.xy,
            }
            for (landmark, side), circle in fitted_circles(self._current()).items()
        ]
