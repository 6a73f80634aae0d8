"""What a test needs from the machine and may not find."""

import pytest

from bench.place import in_ci


def skip_unless_ci(reason: str) -> None:
    """Skip with a reason; in continuous integration, where nothing may be skipped, fail."""
    if in_ci():
        pytest.fail(f"{reason}; in continuous integration this must not be skipped", pytrace=False)
    pytest.skip(reason)
