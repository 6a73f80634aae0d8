"""``demo`` makes the clinic once; here of stick people, and without serving it."""

from __future__ import annotations

from pathlib import Path

import pytest

from hipwright.adapters.dicom import demonstration_studio
from tests.stick_studio import StickStudio, put_up_stick_people
from tests.unit.apps.cli.workbench import document, run


def test_the_clinic_is_made_once_beside_the_users_own_workspace(
    machine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_up_stick_people(monkeypatch)
    studio = StickStudio()
    monkeypatch.setattr(demonstration_studio, "ProcessStudio", lambda _model: studio)
    made = run("demo", "--no-serve", "--no-browser")
    assert (made.exit_code, made.stdout) == (0, "")
    assert "six invented hips" in made.stderr
    assert len(studio.asked) == 6
    assert not (machine / "workspace").exists()
    again = run("demo", "--no-serve", "--no-browser")
    assert (again.exit_code, again.stdout, again.stderr) == (0, "", "")
    assert len(studio.asked) == 6
    listed = document(run("cases", "--json", "--workspace", machine / "demonstration"))
    assert sorted(item["code"] for item in listed["items"]) == [f"DEMO-{n}" for n in range(1, 7)]
    assert all(item["invented"] for item in listed["items"])
