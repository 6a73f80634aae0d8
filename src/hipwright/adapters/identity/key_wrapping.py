"""An identity key under a passphrase, so that a backup can open on another machine.

scrypt (RFC 7914) makes the wrapping key, AES-256-GCM wraps. The cost (n = 2^17, r = 8,
p = 1: 128 MB) is the OWASP recommendation for passphrases [memory].
"""

from __future__ import annotations

import base64
import os
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from hipwright.adapters.identity.seals import IdentityKey
from hipwright.domain.errors import IdentityError

SHORTEST = 12
"""Characters of a passphrase (judgment)."""

_N, _R, _P = 2**17, 8, 1
_FORMAT = "hipwright.wrapped-key"


def wrap(key: IdentityKey, passphrase: str) -> dict[str, Any]:
    """Wrap a key.

    Raises
    ------
    IdentityError
        The passphrase is too short.
    """
    if len(passphrase) < SHORTEST:
        raise IdentityError(
            "cannot put the identity key into the backup",
            found=f"a passphrase of {len(passphrase)} characters",
            needed=f"{SHORTEST} or more",
            next_step="Choose a longer one: four random words do well.",
            field="passphrase",
        )
    salt, nonce = os.urandom(16), os.urandom(12)
    sealed = AESGCM(_stretched(passphrase, salt)).encrypt(nonce, key.secret, key.id.encode())
    return {
        "format": _FORMAT,
        "version": 1,
        "id": key.id,
        "salt": base64.b64encode(salt).decode(),
        "nonce": base64.b64encode(nonce).decode(),
        "sealed": base64.b64encode(sealed).decode(),
    }


def unwrap(wrapped: dict[str, Any], passphrase: str) -> IdentityKey:
    """Unwrap a key.

    Raises
    ------
    IdentityError
        The passphrase is another one, or the wrapped key is damaged.
    """
    try:
        salt, nonce, sealed = (
            base64.b64decode(wrapped[name], validate=True) for name in ("salt", "nonce", "sealed")
        )
        secret = AESGCM(_stretched(passphrase, salt)).decrypt(
            nonce, sealed, str(wrapped["id"]).encode()
        )
    except (InvalidTag, KeyError, TypeError, ValueError) as error:
        raise IdentityError(
            "cannot open the backup's identity key",
            found="another passphrase, or a damaged key",
            needed="the passphrase that was chosen when the backup was made",
            next_step="Try again; --without-key restores everything except the names.",
            field="passphrase",
        ) from error
    return IdentityKey(secret=secret)


def _stretched(passphrase: str, salt: bytes) -> bytes:
    return Scrypt(salt=salt, length=32, n=_N, r=_R, p=_P).derive(passphrase.encode())
