"""One server with a CT and an MR series for all tests of a module."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.slices_room import SlicesRoom, furnish
from tests.web_house import WebHouse, open_house


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("house")) as opened:
        yield opened


@pytest.fixture(scope="module")
def room(house: WebHouse, tmp_path_factory: pytest.TempPathFactory) -> SlicesRoom:
    return furnish(house.opened, Path(tmp_path_factory.mktemp("series")))


@pytest.fixture
def inside(house: WebHouse) -> Iterator[httpx.Client]:
    """A signed-in client that is patient on a busy machine."""
    with house.client() as client:
        client.timeout = httpx.Timeout(60)
        yield client
