"""Memory of a long-running server: what is not needed any more goes back to the machine."""

from __future__ import annotations

import ctypes
import platform

MMAP_THRESHOLD = -3
"""``M_MMAP_THRESHOLD`` of glibc's ``malloc.h``."""

LARGE_BYTES = 1 << 20


def give_large_pieces_back() -> bool:
    """Have every piece of memory of 1 MiB and more given back as soon as it is free.

    Left to itself, glibc raises that limit to 32 MiB as decoded films come and go. They then
    lie in its heaps between small things that stay, and are never given back: after the whole
    demonstration the server held 900 MiB, with this 530 (``benchmarks/bench_server.py``).

    Returns
    -------
    Whether it could be asked for; elsewhere than on glibc there is nothing to do.
    """
    if platform.libc_ver()[0] != "glibc":
        return False
    return bool(ctypes.CDLL(None).mallopt(MMAP_THRESHOLD, LARGE_BYTES))
