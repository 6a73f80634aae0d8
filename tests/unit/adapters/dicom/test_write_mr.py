"""A simulated MR volume as DICOM: what a reader of the standard finds."""

import io

import numpy as np
import pydicom
import pytest
from pydicom.uid import MRImageStorage

from hipwright.adapters.dicom.write_mr import mr_datasets
from tests.slices_room import drawn_mr, invented_study


def test_slices_are_mr_images_that_lie_where_the_volume_lies() -> None:
    volume = drawn_mr()
    study, uids = invented_study("mr-test")
    written = list(mr_datasets(volume, study, uids))
    assert len(written) == len(volume.values)
    assert len({ds.SOPInstanceUID for ds in written}) == len(written)
    assert len({ds.SeriesInstanceUID for ds in written}) == 1
    out = io.BytesIO()
    written[7].save_as(out, enforce_file_format=True)
    ds = pydicom.dcmread(io.BytesIO(out.getvalue()))
    assert (ds.SOPClassUID, ds.Modality) == (MRImageStorage, "MR")
    # Type 1 attributes of the MR image module, DICOM PS3.3 C.8.3.1.
    assert all(ds.get(name) for name in ("ScanningSequence", "SequenceVariant", "ImageType"))
    assert float(ds.EchoTime) < float(ds.RepetitionTime)
    np.testing.assert_array_equal(ds.pixel_array, volume.values[7])
    # PS3.3 C.7.6.2.1.1: the position of the first voxel, rows' direction first.
    wanted = volume.origin_mm + 7 * volume.spacing_mm[2] * volume.directions[:, 2]
    assert [float(x) for x in ds.ImagePositionPatient] == pytest.approx(wanted.tolist())
    assert [float(x) for x in ds.ImageOrientationPatient] == [1, 0, 0, 0, 0, -1]
    assert [float(x) for x in ds.PixelSpacing] == pytest.approx([3.0, 1.5])
