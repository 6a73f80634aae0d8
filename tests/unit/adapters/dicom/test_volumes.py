"""Kept series become volumes on the right grid, or say why not."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813 (the name its users know)
from pydicom.dataset import FileDataset
from pydicom.uid import MRImageStorage, RLELossless

from hipwright.adapters.dicom.volumes import DicomVolumeReader
from hipwright.domain.errors import VolumeError
from hipwright.domain.keeping import Image, ImageKind
from hipwright.domain.volume import Modality, Volume
from tests.dicom_makers import as_bytes, ct_slice, film, read, saved, silent

TOLERANCE_MM = 1e-4  # of a header's decimal strings


def a_slice(number: int, place: Sequence[float], **changes: Any) -> FileDataset:
    """A CT slice of 6 × 5 pixels with a pattern of its own; values from -1000 upward."""
    stored = 24 + 100 * number + np.arange(30).reshape(6, 5)
    told: dict[str, Any] = {
        "Rows": 6,
        "Columns": 5,
        "PixelSpacing": [0.9, 0.7],
        "ImagePositionPatient": list(place),
        "SliceThickness": 1.0,
        "PixelData": stored.astype("<i2").tobytes(),
        "ConvolutionKernel": "B70f",
    }
    return ct_slice(number, 0.0, **(told | changes))


def a_stack(
    count: int = 10, step: Sequence[float] = (0.0, 0.0, 1.0), **changes: Any
) -> list[FileDataset]:
    way = np.array(step)
    return [
        a_slice(n + 1, (np.array([-2.0, -3.0, 40.0]) + n * way).tolist(), **changes)
        for n in range(count)
    ]


def kept(slices: Sequence[FileDataset], **changes: Any) -> tuple[Image, Callable[[str], bytes]]:
    """An image of these slices as the store gives it, and its files."""
    contents = [as_bytes(one) for one in slices]
    files = {hashlib.sha256(content).hexdigest(): content for content in contents}
    (image,) = (
        one.image for one in _imported(slices[:1]) if one.image.kind is not ImageKind.PICTURE
    )
    image = replace(image, files=tuple(files), **changes)
    return image, files.__getitem__


def _imported(slices: Sequence[FileDataset]) -> Any:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        for number, one in enumerate(slices):
            saved(one, Path(name) / f"{number}.dcm")
        return read(Path(name)).arrivals[0].images


def volumes(slices: Sequence[FileDataset], **changes: Any) -> tuple[Volume, ...]:
    image, get_file = kept(slices, **changes)
    return DicomVolumeReader().read(image, get_file, silent)


def refusal(slices: Sequence[FileDataset]) -> VolumeError:
    with pytest.raises(VolumeError) as told:
        volumes(slices)
    assert told.value.found
    assert told.value.needed
    assert told.value.next_step
    return told.value


def test_a_stack_becomes_a_volume_in_hounsfield_units() -> None:
    (volume,) = volumes(a_stack())
    assert volume.values.shape == (10, 6, 5)
    assert volume.values[0, 0, 0] == 124 - 1024
    assert volume.values[9, 5, 4] == 24 + 1000 + 29 - 1024
    np.testing.assert_allclose(volume.grid.origin_mm, [-2, -3, 40])
    np.testing.assert_allclose(volume.grid.spacing_mm, [1.0, 0.9, 0.7])
    assert (volume.kernel, volume.slice_thickness_mm) == ("B70f", 1.0)
    assert volume.modality is Modality.CT
    assert volume.notes == ()


def test_voxels_lie_where_the_standards_equation_puts_them() -> None:
    """PS3.3 section C.7.6.2.1.1, equation C.7.6.2.1-1 (read from memory of the standard)."""
    across, down = np.array([0.8, 0.6, 0.0]), np.array([0.0, 0.0, -1.0])
    normal = np.cross(across, down)
    slices = a_stack(8, step=tuple(2.0 * normal), ImageOrientationPatient=[*across, *down])
    (volume,) = volumes(slices)
    i, j, k = 4, 5, 3  # column, row, slice
    start = np.array([-2.0, -3.0, 40.0]) + k * 2.0 * normal
    expected = start + across * 0.7 * i + down * 0.9 * j
    from_below = k if volume.grid.steps_mm[0] @ normal > 0 else 7 - k
    found = volume.grid.to_mm(np.array([from_below, j, i]))
    np.testing.assert_allclose(found, expected, atol=TOLERANCE_MM)
    assert volume.values[from_below, j, i] == 24 + 100 * (k + 1) + 5 * j + i - 1024


@pytest.mark.parametrize(
    ("orientation", "step"),
    [
        ([1, 0, 0, 0, 1, 0], [0, 0, 1.5]),
        ([0, 1, 0, 0, 0, -1], [2.5, 0, 0]),
        ([0.6, 0.8, 0, 0, 0, -1], [-1.6, 1.2, 0]),
    ],
)
def test_places_and_values_agree_with_simpleitk(
    tmp_path: Path, orientation: list[float], step: list[float]
) -> None:
    """SimpleITK's series reader, on straight stacks (it knows no leaning ones)."""
    slices = a_stack(9, step=step, ImageOrientationPatient=orientation)
    for number, one in enumerate(slices):
        saved(one, tmp_path / f"{number}.dcm")
    names = sitk.ImageSeriesReader.GetGDCMSeriesFileNames(str(tmp_path))
    other = sitk.ReadImage(names)
    theirs = sitk.GetArrayFromImage(other)
    (volume,) = volumes(slices)
    for index in ((0, 0, 0), (8, 5, 4), (3, 2, 1)):
        place = volume.grid.to_mm(np.array(index, dtype=float))
        k, j, i = other.TransformPhysicalPointToIndex(place.tolist())[::-1]
        assert theirs[k, j, i] == volume.values[index]
        back = other.TransformIndexToPhysicalPoint((i, j, k))
        np.testing.assert_allclose(place, back, atol=TOLERANCE_MM)


def test_slices_are_ordered_by_place_never_by_instance_number() -> None:
    slices = a_stack()
    for number, one in enumerate(slices):
        one.InstanceNumber = 100 - number
    shuffled = [slices[i] for i in (7, 2, 9, 0, 4, 1, 3, 8, 6, 5)]
    np.testing.assert_array_equal(volumes(shuffled)[0].values, volumes(slices)[0].values)


def test_a_stack_sent_from_above_or_feet_first_goes_from_below_upward() -> None:
    downward = a_stack(step=(0.0, 0.0, -1.0))
    (volume,) = volumes(downward)
    assert volume.grid.steps_mm[0, 2] == pytest.approx(1.0)
    assert volume.grid.origin_mm[2] == pytest.approx(31.0)
    assert volume.values[-1, 0, 0] == 124 - 1024
    feet_first = a_stack(ImageOrientationPatient=[-1, 0, 0, 0, 1, 0], PatientPosition="FFS")
    (volume,) = volumes(feet_first)
    assert volume.grid.steps_mm[0, 2] == pytest.approx(1.0)
    np.testing.assert_allclose(volume.grid.steps_mm[2], [-0.7, 0, 0])


def test_a_tilted_gantry_gives_a_leaning_grid_and_a_note() -> None:
    lean = np.radians(12.0)
    down = [0.0, float(np.cos(lean)), float(-np.sin(lean))]
    slices = a_stack(step=(0.0, 0.0, 2.0), ImageOrientationPatient=[1, 0, 0, *down])
    (volume,) = volumes(slices)
    np.testing.assert_allclose(volume.grid.steps_mm[0], [0, 0, 2.0], atol=TOLERANCE_MM)
    assert volume.grid.voxel_mm3 == pytest.approx(2.0 * 0.9 * 0.7 * np.cos(lean), rel=1e-5)
    assert any("leans by 12.0°" in note for note in volume.notes)


def test_a_block_at_the_knees_is_a_volume_of_its_own() -> None:
    knees = [a_slice(30 + n, [-2.0, -3.0, -400.0 + 2.0 * n]) for n in range(9)]
    low, high = volumes([*a_stack(), *knees])
    assert (low.values.shape[0], high.values.shape[0]) == (9, 10)
    assert low.grid.spacing_mm[0] == pytest.approx(2.0)
    assert low.grid.fixed_to == high.grid.fixed_to
    assert low.grid.origin_mm[2] == pytest.approx(-400.0)


def test_missing_slices_are_counted_and_placed() -> None:
    slices = a_stack(12)
    told = refusal([*slices[:4], *slices[6:]])
    assert "2 slices missing between 43.0 and 46.0 mm" in told.found
    assert "1 slice missing" in refusal([*slices[:4], *slices[5:]]).found


def test_few_stray_slices_far_away_are_refused() -> None:
    stray = [a_slice(50, [-2.0, -3.0, 240.0]), a_slice(51, [-2.0, -3.0, 241.0])]
    assert "2 slices at 240.0 mm apart" in refusal([*a_stack(), *stray]).found


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"SeriesInstanceUID": "1.2.3"}, "2 series mixed"),
        ({"FrameOfReferenceUID": "1.2.3"}, "2 frames of reference mixed"),
        ({"ConvolutionKernel": "B30f"}, "2 reconstruction kernels mixed"),
        ({"PixelSpacing": [0.8, 0.7]}, "2 pixel sizes mixed"),
        ({"ImageOrientationPatient": [0.98, 0.199, 0, -0.199, 0.98, 0]}, "turned against each"),
        ({"ImageOrientationPatient": [1, 0, 0, 1, 0, 0]}, "not at right angles"),
        ({"ImagePositionPatient": None}, "do not say where they lie"),
        ({"PixelSpacing": None}, "without the size of their pixels"),
        ({"ImageType": ["ORIGINAL", "PRIMARY", "LOCALIZER"]}, "overview picture"),
        ({"ImagePositionPatient": [-2.0, -3.0, 41.0]}, "1 slices in the place of another"),
        ({"ImagePositionPatient": [-2.0, -2.0, 43.0]}, "off their even places"),
        ({"RescaleType": "US"}, "values in US"),
        ({"RescaleSlope": None}, "without the way to Hounsfield units"),
        ({"Rows": 5, "Columns": 6}, "2 slice sizes mixed"),
    ],
)
def test_a_slice_that_does_not_belong_is_refused(changes: dict[str, Any], told: str) -> None:
    slices = a_stack()
    odd = slices[3]
    for keyword, value in changes.items():
        if value is None:
            delattr(odd, keyword)
        else:
            setattr(odd, keyword, value)
    assert told in refusal(slices).found


def test_a_single_slice_is_refused() -> None:
    assert refusal(a_stack(1)).found == "1 slice"


def test_a_film_is_no_volume() -> None:
    assert "a film" in refusal([film()]).found


def test_an_mr_sent_as_ct_is_refused() -> None:
    slices = a_stack(RescaleIntercept=0)
    assert "no value below 0" in refusal(slices).found


def test_values_without_a_rescale_type_are_hounsfield_units() -> None:
    slices = a_stack(RescaleType=None)
    assert volumes(slices)[0].values[0, 0, 0] == 124 - 1024


def test_padding_outside_the_field_is_air() -> None:
    slices = a_stack()
    stored = np.frombuffer(slices[0].PixelData, "<i2").copy()
    stored[0] = -2000
    slices[0].PixelData = stored.tobytes()
    assert volumes(slices)[0].values[0, 0, 0] == -1024


def test_a_broken_slope_is_rounded_and_large_values_are_kept_in_range() -> None:
    slices = a_stack(RescaleSlope=0.37, RescaleIntercept=-1000.5)
    assert volumes(slices)[0].values[0, 0, 1] == round(125 * 0.37 - 1000.5)
    wide = a_stack(RescaleSlope=60, RescaleIntercept=-20000)
    assert volumes(wide)[0].values.max() == 32767  # 60 × 1053 − 20000 does not fit in 16 bits


def test_compressed_slices_give_the_same_volume() -> None:
    plain = volumes(a_stack())[0].values
    packed = a_stack()
    for one in packed:
        one.compress(RLELossless, encoding_plugin="pylibjpeg")
    np.testing.assert_array_equal(volumes(packed)[0].values, plain)


def test_an_mr_series_is_read_as_it_is() -> None:
    slices = a_stack(
        SOPClassUID=MRImageStorage, Modality="MR", RescaleType="US", PixelRepresentation=0
    )
    for one in slices:
        del one.RescaleIntercept
        del one.RescaleSlope
    (volume,) = volumes(slices)
    assert volume.modality is Modality.MR
    assert volume.values[0, 0, 0] == 124


def test_notes_tell_of_thick_slices_gaps_and_what_is_not_told() -> None:
    (thick,) = volumes(a_stack(SliceThickness=2.0))
    assert "overlap" in thick.notes[0]
    (gaps,) = volumes(a_stack(SliceThickness=0.5))
    assert "leave gaps" in gaps.notes[0]
    untold = a_stack(LossyImageCompression="01")
    for one in untold:
        del one.SliceThickness
        del one.ConvolutionKernel
    (bare,) = volumes(untold)
    assert bare.slice_thickness_mm is None
    assert len(bare.notes) == 3


def test_the_place_of_a_series_is_told_from_its_ends() -> None:
    image, get_file = kept(a_stack())
    place = DicomVolumeReader().place(image, get_file)
    assert place is not None
    assert (place.low_mm, place.high_mm, place.slices) == (40.0, 49.0, 10)
    assert (place.kernel, place.thickness_mm) == ("B70f", 1.0)
    assert DicomVolumeReader().place(*kept([film()])) is None
    assert DicomVolumeReader().place(*kept(a_stack(ImagePositionPatient=None))) is None


def test_a_kernel_that_looks_like_a_name_does_not_come_in() -> None:
    names = {"Br64d": "Br64d", "BONE": "BONE", "MILLER": "", "B70f\\3": "B70f 3"}
    for sent, expected in names.items():
        slices = a_stack(ConvolutionKernel=sent.split("\\"))
        contents = [c for image in _imported(slices) for c in image.contents]
        files = {hashlib.sha256(c).hexdigest(): c for c in contents}
        image = replace(kept(slices)[0], files=tuple(files))
        (volume,) = DicomVolumeReader().read(image, files.__getitem__, silent)
        assert volume.kernel == expected


def test_damaged_files_and_other_objects_are_told_plainly() -> None:
    image, _ = kept(a_stack())
    with pytest.raises(VolumeError, match="no slice"):
        DicomVolumeReader().read(image, lambda _digest: b"rubbish", silent)
    colored = a_stack(
        SamplesPerPixel=3,
        PhotometricInterpretation="RGB",
        BitsAllocated=8,
        BitsStored=8,
        HighBit=7,
    )
    contents = {str(number): as_bytes(one) for number, one in enumerate(colored)}
    with pytest.raises(VolumeError, match="color"):
        DicomVolumeReader().read(
            replace(image, files=tuple(contents)), contents.__getitem__, silent
        )
