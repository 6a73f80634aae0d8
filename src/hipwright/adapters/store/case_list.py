"""The list of all cases, by a few queries however many there are."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from threading import Lock
from typing import Any

from sqlalchemy import Connection, RowMapping, func, select

from hipwright.adapters.store.models import (
    CaseRow,
    CaseVersionRow,
    ImageRow,
    ImageVersionRow,
    PersonRow,
    PersonVersionRow,
    ReadingRow,
    ReadingVersionRow,
)
from hipwright.adapters.store.reading_desk import ReadingDesk
from hipwright.adapters.store.versions import newest
from hipwright.domain.keeping import ImageKind, Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.workflows.list_cases import CaseLine

_CASE = newest(CaseRow, CaseVersionRow, "case_id", ("summary",))
_PERSON = newest(PersonRow, PersonVersionRow, "person_id", ("sex", "birth_date_shifted"))
_IMAGE = newest(ImageRow, ImageVersionRow, "image_id", ()).with_only_columns(
    ImageRow.id,
    ImageRow.person_id,
    ImageRow.acquired_on,
    ImageVersionRow.version,
    ImageVersionRow.view,
    ImageVersionRow.laterality,
)
_COUNTED = (CaseVersionRow, PersonVersionRow, ImageVersionRow, ReadingVersionRow)


@dataclass(slots=True)
class _Films:
    """What is known of one person's films of one side."""

    count: int = 0
    unread: int = 0
    newest_on: date | None = None
    stamps: list[str] = field(default_factory=list)

    def add(self, taken: date | None, stamp: str, *, read: bool) -> None:
        self.count += 1
        self.unread += not read
        if taken is not None and (self.newest_on is None or taken > self.newest_on):
            self.newest_on = taken
        self.stamps.append(stamp)


class CaseList(ReadingDesk):
    """Lists cases. Rows are only ever added, so their count tells whether anything changed."""

    _listed: tuple[tuple[int, ...], list[CaseLine]] | None = None
    _listing = Lock()

    def case_lines(self) -> list[CaseLine]:
        """All cases, in the order in which they were opened."""
        with self.transactions.reading("cannot list the cases") as connection:
            counts = tuple(_count(connection, table) for table in _COUNTED)
            with self._listing:
                if self._listed is not None and self._listed[0] == counts:
                    return self._listed[1]
                lines = _lines(connection)
                self._listed = counts, lines
                return lines

    def images_read_again(self) -> list[str]:
        """Images with more than one reading, of several readers or repeated by one."""
        image = ReadingRow.__table__.c.image_id
        query = select(image).group_by(image).having(func.count() > 1).order_by(image)
        with self.transactions.reading("cannot list the readings") as connection:
            return list(connection.execute(query).scalars())

    def readers(self) -> list[str]:
        """Everybody who has kept a reading, people and programs."""
        observer = ReadingRow.__table__.c.observer
        with self.transactions.reading("cannot list the readers") as connection:
            return list(
                connection.execute(select(observer).distinct().order_by(observer)).scalars()
            )


def _count(connection: Connection, table: type[Any]) -> int:
    return connection.execute(select(func.count()).select_from(table.__table__)).scalar_one()


def _lines(connection: Connection) -> list[CaseLine]:
    people = {row["id"]: row for row in connection.execute(_PERSON).mappings()}
    films = _films(connection)
    cases = connection.execute(_CASE.order_by(CaseRow.id)).mappings()
    return [_line(case, people[case["person_id"]], films) for case in cases]


def _films(connection: Connection) -> dict[tuple[str, str], _Films]:
    readings = _newest_readings(connection)
    films: dict[tuple[str, str], _Films] = defaultdict(_Films)
    shown = _IMAGE.where(ImageRow.kind != ImageKind.SERIES.value).order_by(ImageRow.id)
    for image, person, taken, version, view, laterality in connection.execute(shown):
        if not View(view).is_film:
            continue
        reading = readings.get(image)
        stamp = f"{image}.{version}.{reading or ''}"
        for side in Side:
            if Laterality(laterality).shows(side):
                films[person, side.value].add(taken, stamp, read=reading is not None)
    return films


def _newest_readings(connection: Connection) -> dict[str, str]:
    """The newest saved reading of each image; ids of one device sort by time."""
    table, version = ReadingRow.__table__.c, ReadingVersionRow.__table__.c
    query = (
        select(table.image_id, func.max(version.id))
        .join(ReadingVersionRow.__table__, version.reading_id == table.id)
        .group_by(table.image_id)
    )
    return {row[0]: row[1] for row in connection.execute(query)}


def _line(case: RowMapping, person: RowMapping, films: dict[tuple[str, str], _Films]) -> CaseLine:
    own = films.get((case["person_id"], case["side"]), _Films())
    return CaseLine(
        id=case["id"],
        code=case["code"],
        side=Side(case["side"]),
        person=case["person_id"],
        summary=case["summary"],
        opened_at=case["opened_at"],
        invented=case["invented"] or person["invented"],
        sex=person["sex"],
        birth_date_shifted=person["birth_date_shifted"],
        films=own.count,
        unread=own.unread,
        newest_film_on=own.newest_on,
        stamp="|".join(own.stamps),
    )
