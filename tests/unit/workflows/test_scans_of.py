"""Which CT series bones can be made from."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

from hipwright.domain.errors import VolumeError
from hipwright.domain.keeping import ImageKind
from hipwright.workflows.bone_series import scans_of
from hipwright.workflows.ports import SeriesPlace


def series(name, study="study"):
    return SimpleNamespace(
        id=name, study=study, kind=ImageKind.SERIES, modality="CT", acquired_on=None
    )


@dataclass
class Kept:
    images: list

    def images_of(self, _person):
        return self.images

    def get_file(self, _digest):
        return b""


class Places:
    def __init__(self, **heights):
        self.heights = heights

    def place(self, image, _get_file):
        if image.id == "broken":
            raise VolumeError(
                "cannot make a volume of the series",
                found="a file that is no slice",
                needed="slices",
                next_step="Import the series again.",
            )
        if image.id not in self.heights:
            return None
        low, high = self.heights[image.id]
        return SeriesPlace(
            frame="one", low_mm=low, high_mm=high, slices=80, thickness_mm=1.0, kernel=""
        )


def names(kept, places):
    return [image.id for image in scans_of(kept, places, "person")]


def test_knees_of_the_same_scan_are_taken_along_and_not_offered():
    kept = Kept([series("knees"), series("hips")])
    assert names(kept, Places(hips=(0, 280), knees=(-420, -320))) == ["hips"]


def test_knees_of_another_scan_are_a_series_of_their_own():
    kept = Kept([series("knees", study="later"), series("hips")])
    assert sorted(names(kept, Places(hips=(0, 280), knees=(-420, -320)))) == ["hips", "knees"]


def test_a_series_that_does_not_say_where_it_lies_stays_for_the_reader_to_refuse():
    for name in ("lost", "broken"):
        kept = Kept([series(name), series("hips")])
        assert names(kept, Places(hips=(0, 280))) == [name, "hips"]
