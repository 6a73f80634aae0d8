"""Which ``Host`` and ``Origin`` are this server's own."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlsplit

USUAL_PORTS = {"http": 80, "https": 443}


def is_own_host(header: str, *, names: Iterable[str], scheme: str, port: int) -> bool:
    """Whether a ``Host`` header names this server.

    Examples
    --------
    >>> own = {"names": {"127.0.0.1", "localhost"}, "scheme": "http", "port": 8734}
    >>> is_own_host("localhost:8734", **own)
    True
    >>> is_own_host("attacker.example:8734", **own)
    False
    """
    try:
        parts = urlsplit(f"//{header}")
        asked = parts.port or USUAL_PORTS[scheme]
    except ValueError:
        return False
    return (
        parts.hostname is not None
        and parts.netloc == header
        and "@" not in header
        and asked == port
        and any(_fits(parts.hostname, name) for name in names)
    )


def is_own_origin(header: str, *, names: Iterable[str], scheme: str, port: int) -> bool:
    """Whether an ``Origin`` header is one of this server's own pages."""
    origin_scheme, _, host = header.partition("://")
    return origin_scheme == scheme and is_own_host(host, names=names, scheme=scheme, port=port)


def _fits(host: str, name: str) -> bool:
    """Compare a host with a name; ``*.`` in a certificate's name stands for one label."""
    host, name = host.lower().rstrip("."), name.lower()
    if name.startswith("*."):
        first, _, rest = host.partition(".")
        return bool(first) and rest == name[2:]
    return host == name
