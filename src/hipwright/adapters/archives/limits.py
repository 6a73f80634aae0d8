"""How much an import may swallow before it is refused."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Bounds against archives made to hurt, wide of any real study (judgment)."""

    file_bytes: int = 1 << 30
    archive_bytes: int = 20 << 30
    archive_entries: int = 100_000
    suspicious_ratio: int = 200
    suspicious_from_bytes: int = 16 << 20
    nesting: int = 2
    nested_archive_bytes: int = 256 << 20
    folder_depth: int = 64
