"""A workspace whose identity key is gone says so, on a page and to programs."""

from __future__ import annotations

from http import HTTPStatus
from pathlib import Path

import pytest

from hipwright.adapters.identity.key_places import KeyFile
from hipwright.wiring import key_places, open_workspace
from tests.web_house import PAGE, add_person, open_house


@pytest.mark.parametrize("path", ["/cases", "/"])
def test_without_its_identity_key_the_list_says_why_and_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    with open_workspace(tmp_path / "workspace", create=True) as opened:
        add_person(opened)
        assert any(isinstance(place, KeyFile) for place in key_places(opened.where))
    (tmp_path / "machine" / "identity-keys").unlink()
    with open_house(tmp_path) as house, house.client() as client:
        answer = client.get(path, headers=PAGE, follow_redirects=True)
        assert answer.status_code == HTTPStatus.SERVICE_UNAVAILABLE
        assert "Something went wrong" not in answer.text
        assert "Bring the key" in answer.text
        assert client.get("/catalog", headers=PAGE).status_code == HTTPStatus.OK
        data = client.get(path, follow_redirects=True).json()
        assert data["error"]["code"] == "identity"
        assert "Bring the key" in data["error"]["help"]
