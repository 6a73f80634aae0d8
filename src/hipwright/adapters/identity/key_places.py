"""Where identity keys lie: the system's keyring, or a file that only its owner reads."""

from __future__ import annotations

import base64
import binascii
import json
import os
import stat
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Protocol

from hipwright.adapters.identity.seals import IdentityKey
from hipwright.domain.errors import IdentityError

_SERVICE = "hipwright identity"
_FORMAT = "hipwright.identity-key"


class KeyPlace(Protocol):
    """Somewhere keys are kept and found by their ids."""

    def find(self, key: str) -> IdentityKey | None:
        """Find the key with that id."""
        ...

    def keep(self, key: IdentityKey) -> None:
        """Keep a key; it is there for good when this returns."""
        ...

    def takes_keys(self) -> bool:
        """Whether a new key can be kept here."""
        ...

    def told(self) -> str:
        """Say where this is, for people."""
        ...


class KeyFile:
    """A file of keys, one a line, only ever appended to: no write can lose an older key."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def find(self, key: str) -> IdentityKey | None:
        """Find the key with that id; lines of a write that was cut off are passed over."""
        return next((found for found in self._keys() if found.id == key), None)

    def keep(self, key: IdentityKey) -> None:
        """Append a key."""
        if self.find(key.id) is not None:
            return
        secret = base64.b64encode(key.secret).decode()
        line = json.dumps({"format": _FORMAT, "version": 1, "id": key.id, "secret": secret})
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle = os.open(self.path, os.O_CREAT | os.O_APPEND | os.O_WRONLY, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(f"\n{line}\n".encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise IdentityError(
                "cannot keep the identity key",
                found=error.strerror or "a disk that does not answer",
                needed="a key file that can be written",
                next_step="Check the user's configuration folder, or name another file "
                "in HIPWRIGHT_KEY_FILE.",
            ) from error

    def takes_keys(self) -> bool:
        """A file can always be tried."""
        return True

    def told(self) -> str:
        """Name the file."""
        return f"the key file {self.path}"

    def is_private(self) -> bool:
        """Whether nobody but the owner can read the file (true where there is none)."""
        if os.name == "nt" or not self.path.exists():
            return True
        return not self.path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)

    def _keys(self) -> Iterator[IdentityKey]:
        try:
            lines = self.path.read_text("utf-8").splitlines()
        except FileNotFoundError:
            return
        except (OSError, UnicodeDecodeError) as error:
            raise IdentityError(
                "cannot read the identity key",
                found="a key file that cannot be read",
                needed="a file that this user may read",
                next_step="Check its permissions, or name another file in HIPWRIGHT_KEY_FILE.",
            ) from error
        for line in lines:
            try:
                kept = json.loads(line)
                yield IdentityKey(secret=base64.b64decode(kept["secret"], validate=True))
            except (ValueError, KeyError, TypeError, binascii.Error, IdentityError):
                continue


class SystemKeyring:
    """The keyring of the signed-in user."""

    def find(self, key: str) -> IdentityKey | None:
        """Find the key with that id."""
        import keyring
        from keyring.errors import KeyringError

        try:
            secret = keyring.get_password(_SERVICE, key)
        except KeyringError:
            return None
        return IdentityKey(secret=base64.b64decode(secret)) if secret else None

    def keep(self, key: IdentityKey) -> None:
        """Keep a key, and see that it is there."""
        import keyring
        from keyring.errors import KeyringError

        try:
            keyring.set_password(_SERVICE, key.id, base64.b64encode(key.secret).decode())
        except KeyringError as error:
            raise self._refused() from error
        if self.find(key.id) != key:
            raise self._refused()

    def told(self) -> str:
        """Name the keyring."""
        return "the system's keyring"

    def takes_keys(self) -> bool:
        """Whether there is a keyring that keeps what it is given."""
        import keyring

        return keyring.get_keyring().priority >= 1  # keyring's mark of a recommended one

    @staticmethod
    def _refused() -> IdentityError:
        return IdentityError(
            "cannot keep the identity key",
            found="a keyring that did not take it",
            needed="a keyring that is unlocked",
            next_step="Unlock it, or name a key file in HIPWRIGHT_KEY_FILE.",
        )


def find_key(places: Sequence[KeyPlace], key: str) -> IdentityKey:
    """Find a workspace's key.

    Raises
    ------
    IdentityError
        It is in none of the places.
    """
    for place in places:
        found = place.find(key)
        if found is not None:
            return found
    told = " nor in ".join(place.told() for place in places)
    raise IdentityError(
        "cannot open the identity store",
        found=f"no key with the id {key} in {told}",
        needed="the key that was made with this workspace",
        next_step="Bring the key from the machine that made it (its key file, or a backup made "
        "with --with-key). Without it films and measurements stay readable, names do not.",
    )


def keep_key(places: Sequence[KeyPlace], key: IdentityKey) -> None:
    """Keep a new key in the last place that takes one: the keyring before the file."""
    next(place for place in reversed(places) if place.takes_keys()).keep(key)
