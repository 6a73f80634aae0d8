"""Decoding once, forgetting in time, and the small preview."""

import io
import threading
import time

import numpy as np
import pytest
from PIL import Image as Pillow

from hipwright.apps.web.films import pictures
from hipwright.apps.web.films.pictures import PictureShelf, preview_of
from hipwright.workflows.ports import Picture


class CountingHouse:
    """A keeper and a dock in one, that count what they are asked."""

    def __init__(self, *, rows: int = 40, fails: bool = False) -> None:
        self.decoded: list[bytes] = []
        self.rows = rows
        self.fails = fails

    def get_file(self, sha256: str) -> bytes:
        return sha256.encode()

    def picture(self, content: bytes) -> Picture:
        self.decoded.append(content)
        time.sleep(0.05)
        if self.fails:
            raise OSError("damaged")
        return Picture(
            pixels=np.full((self.rows, 50), 1000, dtype=np.uint16),
            window_center=1000,
            window_width=500,
        )


def shelf_of(house: CountingHouse) -> PictureShelf:
    return PictureShelf(lambda: house, lambda: house)  # pyright: ignore[reportArgumentType] - as much of both as is asked


def test_a_film_that_many_ask_for_at_once_is_decoded_once() -> None:
    house = CountingHouse()
    shelf = shelf_of(house)
    found: list[object] = []
    threads = [threading.Thread(target=lambda: found.append(shelf.get("a"))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert house.decoded == [b"a"]
    assert len({id(shown) for shown in found}) == 1


def test_old_films_go_when_room_is_short_and_the_newest_stays(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pictures, "MOST_BYTES", 9000)
    house = CountingHouse()
    shelf = shelf_of(house)
    for name in ("a", "b", "c"):
        shelf.get(name)
    shelf.get("c")
    assert house.decoded == [b"a", b"b", b"c"]
    shelf.get("a")
    assert house.decoded[-1] == b"a"


def test_a_film_that_cannot_be_decoded_is_tried_again_the_next_time() -> None:
    house = CountingHouse(fails=True)
    shelf = shelf_of(house)
    with pytest.raises(OSError, match="damaged"):
        shelf.get("a")
    house.fails = False
    assert shelf.get("a").picture.pixels.shape == (40, 50)


def test_the_preview_is_small_and_shows_the_window() -> None:
    pixels = np.full((2500, 3000), 900, dtype=np.uint16)
    pixels[:1250] = 1100
    made = preview_of(Picture(pixels=pixels, window_center=1000, window_width=200))
    with Pillow.open(io.BytesIO(made)) as image:
        shown = np.asarray(image.convert("L")).astype(int)
    assert max(shown.shape) <= 1200
    assert shown[10, 10] >= 250
    assert shown[-10, 10] <= 5


@pytest.mark.parametrize("shape", [(1, 1), (1, 5000), (3, 2401)])
def test_odd_shapes_have_a_preview(shape: tuple[int, int]) -> None:
    pixels = np.full(shape, 500, dtype=np.uint16)
    made = preview_of(Picture(pixels=pixels, window_center=500, window_width=0))
    with Pillow.open(io.BytesIO(made)) as image:
        assert image.size[0] <= 5000
