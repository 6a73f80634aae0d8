"""The encrypted identity store: nothing readable, one key, nothing rewritten."""

from __future__ import annotations

import os
import sqlite3
import stat
import uuid
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pydicom.uid
import pytest

from hipwright.adapters.identity.identity_file import IdentityFile
from hipwright.adapters.identity.keeper import EncryptedIdentityKeeper, open_identity
from hipwright.adapters.identity.key_places import KeyFile, SystemKeyring
from hipwright.adapters.identity.key_wrapping import unwrap, wrap
from hipwright.adapters.identity.seals import IdentityKey, Seals
from hipwright.domain.errors import IdentityError
from hipwright.domain.keeping import Identity

WORKSPACE = "01a20ff0-0000-7000-8000-000000000001"
PERSON = "01a20ff0-0000-7000-8000-00000000000a"
SOMEBODY = Identity(
    person=PERSON,
    name="Invented^Quillfeather",
    numbers=("ZX-4711-PLANTED",),
    birth_date=date(1987, 6, 5),
    sex="F",
    note="planted note",
)


def opened(
    folder: Path, *, keys: str = "keys", workspace: str = WORKSPACE
) -> EncryptedIdentityKeeper:
    return open_identity(
        folder / "identity.db",
        [KeyFile(folder / keys)],
        workspace=workspace,
        device="01a20ff0-0000-7000-8000-0000000000dd",
        now=lambda: datetime.now(UTC),
    )


def test_nothing_of_an_identity_can_be_read_in_its_files(tmp_path: Path) -> None:
    keeper = opened(tmp_path)
    keeper.save(SOMEBODY)
    shift = keeper.date_shift_days(PERSON)
    content = b"".join(p.read_bytes() for p in tmp_path.iterdir() if p.name != "keys")
    for planted in (b"Quillfeather", b"4711", b"1987", b"planted", str(shift).encode()):
        assert planted not in content


def test_the_key_lies_in_a_file_that_only_its_owner_reads(tmp_path: Path) -> None:
    opened(tmp_path)
    mode = stat.S_IMODE((tmp_path / "keys").stat().st_mode)
    assert mode == 0o600
    assert stat.S_IMODE((tmp_path / "identity.db").stat().st_mode) == 0o600


def test_a_missing_key_is_told_with_what_to_do(tmp_path: Path) -> None:
    opened(tmp_path).save(SOMEBODY)
    (tmp_path / "keys").unlink()
    with pytest.raises(IdentityError, match="Bring the key from the machine that made it"):
        opened(tmp_path)


def test_a_foreign_key_is_recognized_by_its_id(tmp_path: Path) -> None:
    key_id = opened(tmp_path).key.id
    KeyFile(tmp_path / "others").keep(IdentityKey.make())
    with pytest.raises(IdentityError, match=key_id):
        opened(tmp_path, keys="others")


def test_the_store_of_another_workspace_is_refused(tmp_path: Path) -> None:
    opened(tmp_path)
    with pytest.raises(IdentityError, match="another workspace"):
        opened(tmp_path, workspace="01a20ff0-0000-7000-8000-000000000002")


def test_a_store_of_a_newer_layout_is_refused(tmp_path: Path) -> None:
    opened(tmp_path)
    with closing(sqlite3.connect(tmp_path / "identity.db")) as connection:
        connection.execute("PRAGMA user_version = 2")
    with pytest.raises(IdentityError, match="newer hipwright"):
        opened(tmp_path)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE identity_version SET sealed = x'00'",
        "DELETE FROM identity_version",
        "UPDATE date_shift SET sealed = x'00'",
        "DELETE FROM number_digest",
        "UPDATE fact SET value = 'x'",
    ],
)
def test_history_of_identity_cannot_be_rewritten(tmp_path: Path, statement: str) -> None:
    keeper = opened(tmp_path)
    keeper.save(SOMEBODY)
    keeper.date_shift_days(PERSON)
    with (
        closing(sqlite3.connect(tmp_path / "identity.db")) as connection,
        pytest.raises(sqlite3.IntegrityError, match="append-only"),
    ):
        connection.execute(statement)


def test_a_record_that_was_moved_to_another_person_does_not_open(tmp_path: Path) -> None:
    keeper = opened(tmp_path)
    keeper.save(SOMEBODY)
    with closing(sqlite3.connect(tmp_path / "identity.db")) as connection:
        connection.execute(
            "INSERT INTO identity_version SELECT 'x', 'other', 1, recorded_at, origin, sealed "
            "FROM identity_version"
        )
        connection.commit()
    with pytest.raises(IdentityError, match="cannot read an identity record"):
        keeper.of("other")
    assert keeper.damaged() == 1


def test_a_changed_byte_is_noticed() -> None:
    seals = Seals(IdentityKey.make())
    sealed = bytearray(seals.seal(b"name", about="x"))
    assert seals.open(bytes(sealed), about="x").rstrip() == b"name"
    sealed[-1] ^= 1
    with pytest.raises(IdentityError):
        seals.open(bytes(sealed), about="x")


def test_the_length_of_a_record_does_not_tell_the_length_of_a_name() -> None:
    seals = Seals(IdentityKey.make())
    lengths = {len(seals.seal(b"x" * n, about="x")) for n in (1, 100, 255)}
    assert len(lengths) == 1


def test_a_remapped_uid_is_a_uuid_derived_uid_by_the_books() -> None:
    # pydicom's own check of PS3.5 section 9.1; a version 8 UUID by RFC 9562 section 5.8
    uid = Seals(IdentityKey.make()).uid("1.2.840.113619.2.55")
    assert pydicom.uid.UID(uid).is_valid
    made_of = uuid.UUID(int=int(uid.removeprefix("2.25.")))
    assert (made_of.version, made_of.variant) == (8, uuid.RFC_4122)


def test_two_workspaces_remap_and_digest_differently() -> None:
    one, other = Seals(IdentityKey.make()), Seals(IdentityKey.make())
    assert one.uid("1.2.3") != other.uid("1.2.3")
    assert one.digest("12") != other.digest("12")


def test_uid_padding_of_the_header_makes_no_difference() -> None:
    seals = Seals(IdentityKey.make())
    assert seals.uid("1.2.3\0") == seals.uid("1.2.3")


def test_a_key_file_keeps_older_keys_and_survives_a_cut_off_line(tmp_path: Path) -> None:
    file = KeyFile(tmp_path / "deep" / "keys")
    first, second = IdentityKey.make(), IdentityKey.make()
    file.keep(first)
    with file.path.open("a") as handle:
        handle.write('{"format": "hipwright.identity-key", "secr')
    file.keep(second)
    file.keep(second)
    assert file.find(first.id) == first
    assert file.find(second.id) == second
    assert file.find("0" * 16) is None
    assert file.path.read_text().count(second.id) == 1


@pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")
def test_a_key_file_that_others_may_read_is_told(tmp_path: Path) -> None:
    file = KeyFile(tmp_path / "keys")
    file.keep(IdentityKey.make())
    assert file.is_private()
    file.path.chmod(0o644)
    assert not file.is_private()


def test_a_key_does_not_show_in_its_repr() -> None:
    key = IdentityKey.make()
    assert key.secret.hex() not in repr(key)
    assert repr(key.secret) not in repr(key)


class _Ring:
    """A keyring in memory."""

    priority = 5
    name = "in memory"

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], str] = {}

    def set_password(self, service: str, name: str, secret: str) -> None:
        self.kept[service, name] = secret

    def get_password(self, service: str, name: str) -> str | None:
        return self.kept.get((service, name))


def test_a_real_keyring_takes_new_keys_before_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ring = _Ring()
    monkeypatch.setattr("keyring.get_keyring", lambda: ring)
    monkeypatch.setattr("keyring.set_password", ring.set_password)
    monkeypatch.setattr("keyring.get_password", ring.get_password)
    places = [KeyFile(tmp_path / "keys"), SystemKeyring()]
    keepers = [
        open_identity(
            tmp_path / "identity.db",
            places,
            workspace=WORKSPACE,
            device="",
            now=lambda: datetime.now(UTC),
        )
        for _ in range(2)
    ]
    assert keepers[0].key == keepers[1].key
    assert [name for _, name in ring.kept] == [keepers[0].key.id]
    assert not (tmp_path / "keys").exists()


def test_where_there_is_no_keyring_the_file_takes_new_keys(tmp_path: Path) -> None:
    assert not SystemKeyring().takes_keys()  # tests run with keyring's failing backend
    places = [KeyFile(tmp_path / "keys"), SystemKeyring()]
    keeper = open_identity(
        tmp_path / "identity.db",
        places,
        workspace=WORKSPACE,
        device="",
        now=lambda: datetime.now(UTC),
    )
    assert KeyFile(tmp_path / "keys").find(keeper.key.id) == keeper.key


def test_two_that_make_a_store_at_once_end_with_one_key(tmp_path: Path) -> None:
    file, place = IdentityFile(tmp_path / "identity.db"), KeyFile(tmp_path / "keys")
    first, second = IdentityKey.make(), IdentityKey.make()
    for key in (first, second):
        place.keep(key)
        file.make({"workspace": WORKSPACE, "key": key.id, "made_at": ""})
    assert opened(tmp_path).key == first


def test_a_key_comes_out_of_its_wrapping_only_with_its_passphrase() -> None:
    key = IdentityKey.make()
    wrapped = wrap(key, "correct horse battery")
    assert unwrap(wrapped, "correct horse battery") == key
    with pytest.raises(IdentityError, match="another passphrase"):
        unwrap(wrapped, "Correct horse battery")
    with pytest.raises(IdentityError, match="damaged key"):
        unwrap({**wrapped, "id": "0" * 16}, "correct horse battery")
    with pytest.raises(IdentityError, match="12 or more"):
        wrap(key, "short")
