"""The memory of a server that has shown many films."""

import platform
import subprocess
import sys

import pytest

BUSY = """
import re
import sys
from pathlib import Path

import numpy as np
from hipwright.apps.cli.memory import give_large_pieces_back

def held():
    return int(re.search(r"VmRSS:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024

if sys.argv[1] == "asked":
    assert give_large_pieces_back()
film = np.ones(3 << 22, np.uint8)
del film  # from here on glibc would keep pieces as large in its heap
before, kept, films = held(), [], []
for _ in range(60):
    films.append(np.ones(2 << 20, np.uint8))
    kept.append(bytearray(3000))
del films
print(held() - before)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="about glibc's memory alone")
def test_films_that_are_no_longer_shown_give_their_memory_back() -> None:
    held = {
        how: float(
            subprocess.run(
                [sys.executable, "-c", BUSY, how], check=True, capture_output=True, text=True
            ).stdout
        )
        for how in ("asked", "as it is")
    }
    assert held["asked"] < 20.0  # MiB, of 120 that were in use
    assert held["as it is"] > 60.0  # else there is no need to ask
