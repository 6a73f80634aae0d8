"""What the bench prints: plain lines that also read well in a log."""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

MINUTE_S = 60


def prepare_output() -> None:
    """Print line by line, and never fail on a console that lacks a character."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace", line_buffering=True)


def say(text: str) -> None:
    """Print one message."""
    print(text, flush=True)


def say_loudly(text: str) -> None:
    """Print a message that must not be overlooked in a long log."""
    print(f"\n{'!' * 78}\n!! {text}\n{'!' * 78}\n", flush=True)


@contextmanager
def stopwatch(doing: str) -> Iterator[None]:
    """Tell what goes on, and how long it took."""
    say(f"{doing} ...")
    start = time.monotonic()
    yield
    say(f"  done in {seconds(time.monotonic() - start)}")


def seconds(duration_s: float) -> str:
    """Format a duration for people: ``4.2 s``, ``2 min 05 s``."""
    if duration_s < MINUTE_S:
        return f"{duration_s:.1f} s"
    return f"{int(duration_s // MINUTE_S)} min {int(duration_s % MINUTE_S):02d} s"
