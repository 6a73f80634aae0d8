"""What every identity keeper does: the one in memory and the encrypted one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from uuid_utils.compat import uuid7

from hipwright.domain.errors import IdentityError
from hipwright.domain.keeping import Identity
from hipwright.wiring import open_workspace
from hipwright.workflows.ports import IdentityKeeper
from tests.contract.fakes import MemoryIdentity


@pytest.fixture(params=["memory", "encrypted"])
def identity(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[IdentityKeeper]:
    if request.param == "memory":
        yield MemoryIdentity()
        return
    with open_workspace(tmp_path / "workspace", create=True) as opened:
        yield opened.identity


def somebody(**changes: object) -> Identity:
    """An invented person."""
    identity = Identity(
        person=str(uuid7()),
        name="Invented^Ílse née Ødegård",
        numbers=("A-0042", "778899"),
        birth_date=date(1991, 3, 4),
        sex="F",
        note="prefers the telephone",
    )
    return replace(identity, **changes)


def test_identity_comes_back_as_it_was_given(identity: IdentityKeeper) -> None:
    first = somebody()
    second = somebody(numbers=(), birth_date=None, sex=None, note="", name="")
    identity.save(first)
    identity.save(second)
    assert identity.of(first.person) == first
    assert identity.of(second.person) == second
    assert identity.of(str(uuid7())) is None


def test_a_corrected_identity_takes_the_place_of_the_old_one(identity: IdentityKeeper) -> None:
    first = somebody()
    identity.save(first)
    corrected = replace(first, name="Invented^Ilse", numbers=("A-0042", "5"))
    identity.save(corrected)
    assert identity.of(first.person) == corrected
    assert identity.find(number="5") == first.person
    assert identity.find(number="778899") is None


def test_a_person_is_found_by_any_number_however_it_is_typed(identity: IdentityKeeper) -> None:
    first = somebody()
    identity.save(somebody(numbers=("1",)))
    identity.save(first)
    for typed in ("A-0042", " a-0042", "778 899"):
        assert identity.find(number=typed) == first.person
    assert identity.find(number="0042") is None


def test_one_number_belongs_to_one_person(identity: IdentityKeeper) -> None:
    first = somebody()
    identity.save(first)
    second = somebody(numbers=("new", "a-0042"))
    with pytest.raises(IdentityError):
        identity.save(second)
    assert identity.of(second.person) is None
    assert identity.find(number="new") is None


def test_all_dates_of_a_person_move_by_the_same_days_into_the_past(
    identity: IdentityKeeper,
) -> None:
    people = [str(uuid7()) for _ in range(60)]
    shifts = [identity.date_shift_days(person) for person in people]
    assert [identity.date_shift_days(person) for person in people] == shifts
    assert all(-3650 <= shift <= -30 for shift in shifts)
    assert len(set(shifts)) > 40
    taken = date(2024, 2, 29)
    shifted = taken + timedelta(days=shifts[0])
    assert identity.true_date(people[0], shifted) == taken


def test_a_uid_is_remapped_to_the_same_valid_uid_each_time(identity: IdentityKeeper) -> None:
    originals = [f"1.2.826.0.1.3680043.8.498.{n}" for n in range(200)]
    remapped = [identity.remapped_uid(original) for original in originals]
    assert [identity.remapped_uid(original) for original in originals] == remapped
    assert len(set(remapped)) == 200
    for uid in remapped:
        # DICOM PS3.5 section 9.1 and annex B.2: 64 characters, digits and dots, no leading zero
        assert len(uid) <= 64
        assert uid.startswith("2.25.")
        assert uid[5:].isdecimal()
        assert uid[5] != "0"
