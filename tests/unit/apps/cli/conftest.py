"""Commands that are tested find a machine of their own."""

from pathlib import Path

import pytest


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with nothing in it that is named as workspace and as the machine's own."""
    monkeypatch.setenv("HIPWRIGHT_WORKSPACE", str(tmp_path / "workspace"))
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("HIPWRIGHT_KEY_FILE", str(tmp_path / "key"))
    return tmp_path
