"""Reading the installed shape model, and refusing what is not arrays."""

import io
import json
import pickle
from importlib.resources import files

import numpy as np
import pytest

from hipwright.adapters.shape_model_files import read_arrays, read_patches, read_shape_model

ROUNDING_MM = 1e-9


class _Hostile:
    def __reduce__(self):
        return (print, ("this must never run",))


def test_arrays_pass_and_anything_else_is_refused():
    there = read_arrays(io.BytesIO(pickle.dumps({"mean": np.arange(3.0)}, protocol=4)))
    np.testing.assert_array_equal(there["mean"], [0.0, 1.0, 2.0])
    with pytest.raises(pickle.UnpicklingError, match="only numpy arrays were expected"):
        read_arrays(io.BytesIO(pickle.dumps({"mean": _Hostile()})))


def test_a_file_that_is_no_dictionary_is_refused():
    with pytest.raises(pickle.UnpicklingError, match="expected a dictionary"):
        read_arrays(io.BytesIO(pickle.dumps([1, 2])))


def test_an_element_table_that_miscounts_its_points_is_refused():
    table = {"elements": {"0": "0 tri10"}, "connectivity": {}, "number_of_points": 11}
    with pytest.raises(ValueError, match="names 11 points, 10 were found"):
        read_patches(json.dumps(table))


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("pelvis_combined_cubic_mean_rigid_LLP26.geof", slice(0, 1946)),
        ("femur_left_mean_rigid_LLP26.geof", slice(1946, 2580)),
    ],
)
def test_the_mean_equals_the_mean_bones_that_the_package_lists_separately(name, part):
    """Outside check: the package's own tables of the mean bones."""
    table = json.loads((files("musculoskeletal.models") / "atlas_meshes" / name).read_text())
    points = [
        [float(node[f"dim {k}"]) for k in range(3)]
        for _, node in sorted(table["field_parameters"].items())
    ]
    np.testing.assert_allclose(read_shape_model().mean[part], points, atol=ROUNDING_MM)
