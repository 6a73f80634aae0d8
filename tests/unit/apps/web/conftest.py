"""One server for all tests of a module."""

from collections.abc import Iterator

import httpx
import pytest

from tests.web_house import WebHouse, open_house


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("house")) as opened:
        yield opened


@pytest.fixture
def inside(house: WebHouse) -> Iterator[httpx.Client]:
    """A signed-in client."""
    with house.client() as client:
        yield client
