"""People and their cases."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, RowMapping, Select

from hipwright.adapters.store.case_codes import check_code, code_key, make_code
from hipwright.adapters.store.desk import (
    Desk,
    checked_id,
    hold,
    is_id,
    known_id,
    not_found,
    one_row,
    refuse_fixed,
    refuse_stale,
    refuse_taken,
)
from hipwright.adapters.store.models import (
    CaseRow,
    CaseVersionRow,
    PersonRow,
    PersonVersionRow,
)
from hipwright.adapters.store.versions import newest
from hipwright.domain.errors import KeepingError, NotFoundError
from hipwright.domain.keeping import Case, Person
from hipwright.domain.side import Side

_PERSON = newest(PersonRow, PersonVersionRow, "person_id", ("sex", "birth_date_shifted"))
_CASE = newest(CaseRow, CaseVersionRow, "case_id", ("summary",))


class PeopleDesk(Desk):
    """Keeps people and cases."""

    def new_code(self) -> str:
        """Make a code that no case has."""
        with self.transactions.reading("cannot make a case code") as connection:
            while True:
                code = make_code(secrets.choice)
                if one_row(connection, CaseRow, {"code_key": code_key(code)}) is None:
                    return code

    def add_person(self, person: Person) -> None:
        """Keep a new person."""
        row = {"id": checked_id(person.id, of="person"), "invented": person.invented}
        with self.transactions.writing("cannot keep the person") as writer:
            refuse_taken(writer.connection, PersonRow, row["id"], of="person")
            self.insert(writer, PersonRow, [row])
            self.insert(writer, PersonVersionRow, [_person_version(replace(person, version=1))])

    def person(self, person: str) -> Person:
        """Find a person by id."""
        wanted = known_id(person, of="person")
        found = self._people(_PERSON.where(PersonRow.id == wanted))
        if not found:
            raise not_found("person", person)
        return found[0]

    def persons(self) -> Sequence[Person]:
        """List everybody, in the order in which they came."""
        return self._people(_PERSON)

    def change_person(self, person: Person, *, expected_version: int) -> Person:
        """Add a version of a person."""
        with self.transactions.writing("cannot save the person") as writer:
            hold(writer, PersonRow, known_id(person.id, of="person"))
            kept = self.person(person.id)
            offered = replace(person, version=kept.version)
            if offered == kept:
                return kept
            refuse_stale(
                of="person",
                kept=kept,
                version=kept.version,
                expected=expected_version,
                offered=person,
            )
            refuse_fixed(kept, person, ["invented"], of="person")
            new = replace(person, version=kept.version + 1)
            self.insert(writer, PersonVersionRow, [_person_version(new)])
            return new

    def add_case(self, case: Case) -> None:
        """Open a case."""
        code = check_code(case.code)
        row = {
            "id": checked_id(case.id, of="case"),
            "code": code,
            "code_key": code_key(code),
            "person_id": known_id(case.person, of="person"),
            "side": case.side.value,
            "opened_at": case.opened_at,
            "invented": case.invented,
        }
        with self.transactions.writing("cannot open the case") as writer:
            self._refuse_taken_case(writer.connection, row)
            self.insert(writer, CaseRow, [row])
            self.insert(writer, CaseVersionRow, [_case_version(replace(case, version=1))])

    def case(self, code: str) -> Case:
        """Find a case by its code, an only prefix of it, or its id."""
        if is_id(code):
            found = self._cases(_CASE.where(CaseRow.id == known_id(code, of="case")))
        else:
            key = code_key(code)
            found = self._cases(_CASE.where(CaseRow.code_key.startswith(key, autoescape=True)))
            exact = [case for case in found if code_key(case.code) == key]
            found = exact or (found if key else [])
        match found:
            case [only]:
                return only
            case []:
                raise not_found("case", code, field="case")
            case _:
                codes = ", ".join(case.code for case in found[:5])
                raise NotFoundError(
                    f"cannot tell which case {code[:40]!r} means",
                    found=f"{len(found)} that begin so: {codes}",
                    needed="a code that fits one",
                    next_step="Type one more character.",
                    field="case",
                )

    def cases(self) -> Sequence[Case]:
        """List all cases in the order in which they were opened."""
        return self._cases(_CASE)

    def cases_of(self, person: str) -> Sequence[Case]:
        """List a person's one or two cases."""
        return self._cases(_CASE.where(CaseRow.person_id == known_id(person, of="person")))

    def change_case(self, case: Case, *, expected_version: int) -> Case:
        """Add a version of a case."""
        with self.transactions.writing("cannot save the case") as writer:
            hold(writer, CaseRow, known_id(case.id, of="case"))
            kept = self.case(case.id)
            if replace(case, version=kept.version) == kept:
                return kept
            refuse_stale(
                of="case", kept=kept, version=kept.version, expected=expected_version, offered=case
            )
            fixed = ("code", "person", "side", "opened_at", "invented")
            refuse_fixed(kept, case, fixed, of="case")
            new = replace(case, version=kept.version + 1)
            self.insert(writer, CaseVersionRow, [_case_version(new)])
            return new

    def _refuse_taken_case(self, connection: Connection, row: dict[str, Any]) -> None:
        refuse_taken(connection, CaseRow, row["id"], of="case")
        if one_row(connection, PersonRow, {"id": row["person_id"]}) is None:
            raise not_found("person", row["person_id"], field="person")
        if one_row(connection, CaseRow, {"code_key": row["code_key"]}) is not None:
            raise KeepingError(
                "cannot open the case",
                found=f"another case with the code {row['code']}",
                needed="a code of its own",
                next_step="Choose another code, or leave it out to get one.",
                field="code",
            )
        same_hip = {"person_id": row["person_id"], "side": row["side"]}
        if (there := one_row(connection, CaseRow, same_hip)) is not None:
            raise KeepingError(
                "cannot open the case",
                found=f"case {there['code']} of the same {row['side']} hip",
                needed="one case a hip",
                next_step=f"Go on in {there['code']}: a case is one hip through time.",
                field="side",
            )

    def _people(self, query: Select[Any]) -> list[Person]:
        with self.transactions.reading("cannot read the people") as connection:
            rows = connection.execute(query.order_by(PersonRow.id)).mappings()
            return [_person(row) for row in rows]

    def _cases(self, query: Select[Any]) -> list[Case]:
        with self.transactions.reading("cannot read the cases") as connection:
            rows = connection.execute(query.order_by(CaseRow.opened_at, CaseRow.id)).mappings()
            return [_case(row) for row in rows]


def _person_version(person: Person) -> dict[str, Any]:
    return {
        "person_id": person.id,
        "version": person.version,
        "sex": person.sex,
        "birth_date_shifted": person.birth_date_shifted,
    }


def _person(row: RowMapping) -> Person:
    return Person(
        id=row["id"],
        sex=row["sex"],
        birth_date_shifted=row["birth_date_shifted"],
        invented=row["invented"],
        version=row["version"],
    )


def _case_version(case: Case) -> dict[str, Any]:
    return {"case_id": case.id, "version": case.version, "summary": case.summary}


def _case(row: RowMapping) -> Case:
    return Case(
        id=row["id"],
        code=row["code"],
        person=row["person_id"],
        side=Side(row["side"]),
        summary=row["summary"],
        opened_at=row["opened_at"],
        version=row["version"],
        invented=row["invented"],
    )
