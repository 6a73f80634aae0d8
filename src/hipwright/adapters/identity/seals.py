"""What the identity key does: seals records, digests numbers, remaps UIDs.

One 32-byte secret a workspace; each use has its own key derived from it (HKDF-SHA256,
RFC 5869), so that no two uses can be played against each other.
"""

from __future__ import annotations

import hmac
import os
import unicodedata
import uuid
from dataclasses import dataclass, field
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from hipwright.domain.errors import IdentityError

SECRET_BYTES = 32
_NONCE_BYTES = 12  # what AES-GCM is made for, NIST SP 800-38D
_PAD_TO = 256  # the length of a record tells nothing about the length of a name


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityKey:
    """The secret of one workspace; its id is derived from it and gives nothing away."""

    secret: bytes = field(repr=False)

    def __post_init__(self) -> None:
        if len(self.secret) != SECRET_BYTES:
            raise IdentityError(
                "cannot use the identity key",
                found=f"{len(self.secret)} bytes",
                needed=f"{SECRET_BYTES} bytes",
                next_step="Restore the key from a backup made with --with-key.",
            )

    @classmethod
    def make(cls) -> IdentityKey:
        """Make a new secret from the system's randomness."""
        return cls(secret=os.urandom(SECRET_BYTES))

    @property
    def id(self) -> str:
        """What the workspace remembers of its key."""
        return self.derive("id").hex()[:16]

    def derive(self, use: str) -> bytes:
        """The key of one use."""
        info = f"hipwright identity 1 {use}".encode()
        return HKDF(algorithm=SHA256(), length=32, salt=None, info=info).derive(self.secret)


class Seals:
    """The uses of one key."""

    def __init__(self, key: IdentityKey) -> None:
        self._cipher = AESGCM(key.derive("records"))
        self._numbers = key.derive("numbers")
        self._uids = key.derive("uids")

    def seal(self, plain: bytes, *, about: str) -> bytes:
        """Encrypt a record (AES-256-GCM); ``about`` binds it to its place."""
        nonce = os.urandom(_NONCE_BYTES)
        padded = plain.ljust(-(-len(plain) // _PAD_TO) * _PAD_TO)
        return nonce + self._cipher.encrypt(nonce, padded, about.encode())

    def open(self, sealed: bytes, *, about: str) -> bytes:
        """Decrypt a record.

        Raises
        ------
        IdentityError
            It was changed, moved, or sealed with another key.
        """
        nonce, body = sealed[:_NONCE_BYTES], sealed[_NONCE_BYTES:]
        try:
            return self._cipher.decrypt(nonce, body, about.encode())
        except InvalidTag as error:
            raise IdentityError(
                "cannot read an identity record",
                found="a record that was changed, or sealed with another key",
                needed="the record as it was kept, and its workspace's key",
                next_step="Run `hipwright doctor`; restore the newest backup if it is damaged.",
            ) from error

    def digest(self, number: str) -> bytes:
        """A patient number's keyed digest: to look it up, not to read it."""
        return hmac.digest(self._numbers, plain_number(number).encode(), sha256)

    def uid(self, original: str) -> str:
        """The UID that stands for an original one.

        A UUID made from the keyed digest (version 8 of RFC 9562), written as DICOM PS3.5
        B.2 derives UIDs from UUIDs: ``2.25.`` and its decimal value.
        """
        digest = bytearray(hmac.digest(self._uids, original.strip(" \0").encode(), sha256)[:16])
        digest[6] = digest[6] & 0x0F | 0x80
        digest[8] = digest[8] & 0x3F | 0x80
        return f"2.25.{uuid.UUID(bytes=bytes(digest)).int}"


def plain_number(number: str) -> str:
    """A patient number without the ways of writing it: case, blanks, full-width digits.

    >>> plain_number(" ab 12 ") == plain_number("AB12")
    True
    """
    return "".join(unicodedata.normalize("NFKC", number).casefold().split())
