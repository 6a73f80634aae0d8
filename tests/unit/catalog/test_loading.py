"""The shelf, its checks, and a practice's own thresholds."""

import math
import tomllib
from dataclasses import replace
from typing import Any

import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import Band, InputName, ReferenceRange
from hipwright.catalog.loader import measurement_from, placed_for
from hipwright.catalog.pages import pages, pages_of
from hipwright.domain.errors import CatalogError
from hipwright.domain.evidence import Seen
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.measure import measure_film, read_film
from hipwright.phantoms.analytic_film import pelvis_film
from hipwright.phantoms.analytic_hip import KINDS

LCEA = "lateral_center_edge_angle.sourcil"
OWN = """
[[range]]
measurement = "lateral_center_edge_angle.sourcil"
decided_on = 2026-03-01
reason = "Agreed at the unit's meeting."
settles = "a second reader"
bands = [
  { name = "thin", low = -inf, high = 28.0 },
  { name = "well covered", low = 28.0, high = inf },
]
"""


def test_looking_up_what_is_not_there_says_so() -> None:
    catalog = load()
    for look in (catalog.measurement, catalog.landmark, catalog.reference):
        with pytest.raises(CatalogError, match="no such entry"):
            look("nothing")


def test_landmarks_to_place_are_outlines_for_centers_and_without_sides() -> None:
    catalog = load()
    assert catalog.to_place_for(catalog.measurement(LCEA)) == (
        "femoral_head",
        "sourcil_lateral_edge",
    )
    index = catalog.measurement("pelvic_rotation.obturator_index")
    assert catalog.to_place_for(index) == (
        "obturator_foramen_medial",
        "obturator_foramen_lateral",
    )
    assert placed_for("alpha_onset") == "alpha_onset"


def test_inputs_may_fix_their_side() -> None:
    assert InputName.parse("femoral_head@left") == InputName(landmark="femoral_head", side="left")
    assert InputName.parse("femoral_head").side == ""


def test_bands_must_follow_each_other() -> None:
    with pytest.raises(CatalogError, match="low below high"):
        Band(name="odd", low=3, high=3)
    bands = (Band(name="a", low=-math.inf, high=1), Band(name="b", low=2, high=math.inf))
    with pytest.raises(CatalogError, match="without a gap"):
        ReferenceRange(scheme="odd", bands=bands, cite="x", variant="this")
    with pytest.raises(CatalogError, match="without a gap"):
        ReferenceRange(scheme="odd", bands=bands[:1], cite="x", variant="this")


def test_ranges_are_chosen_by_view_and_sex() -> None:
    entry = load().measurement(LCEA)
    (general, *_) = entry.reference_ranges
    women = replace(general, scheme="women", sex="female")
    lateral = replace(general, scheme="lateral", views=(View.DUNN_45,))
    chosen = replace(entry, reference_ranges=(women, lateral, general))
    assert chosen.range_for(View.PELVIS_AP, "female") is women
    assert chosen.range_for(View.PELVIS_AP, "male") is general
    assert chosen.range_for(View.DUNN_45) is lateral
    assert replace(entry, reference_ranges=(women,)).range_for(View.PELVIS_AP) is None


def test_a_practices_own_range_comes_first_and_is_dated() -> None:
    catalog = load(tomllib.loads(OWN))
    first, *published = catalog.measurement(LCEA).reference_ranges
    assert first.is_practice_own
    assert first.decided_on == "2026-03-01"
    assert tuple(published) == load().measurement(LCEA).reference_ranges
    source = catalog.reference(first.cite)
    assert source.seen is Seen.JUDGMENT
    assert source.text == "Set by this practice on 2026-03-01. Agreed at the unit's meeting."
    assert not load().measurement(LCEA).reference_ranges[0].is_practice_own


def test_a_practices_own_range_classes_its_values() -> None:
    catalog = load(tomllib.loads(OWN))
    made = pelvis_film(dict.fromkeys(Side, KINDS["normal"]))
    read = read_film(made.film, made.landmarks, catalog=catalog, sex="F")
    assert read.sex == "female"
    (value,) = measure_film(read, [FilmBorder(film=made.film, side=Side.LEFT)], only={LCEA})
    assert isinstance(value, Measurement)
    chosen = value.classification
    assert chosen is not None
    assert chosen.name == "well covered"
    assert chosen.scheme == "This practice, 2026-03-01"
    assert chosen.settles == "a second reader"


@pytest.mark.parametrize(
    "change",
    [{"measurement": "nothing"}, {"decided_on": "lately"}, {"bands": []}],
    ids=["unknown measurement", "no date", "no bands"],
)
def test_a_practices_own_range_that_says_too_little_is_refused(change: dict[str, Any]) -> None:
    row = tomllib.loads(OWN)["range"][0] | change
    with pytest.raises(CatalogError, match="the practice's own ranges"):
        load({"range": [row]})


def test_an_entry_is_made_from_its_table_alone() -> None:
    entry = measurement_from(
        {
            "id": "x",
            "name": "X",
            "quantity": "angle",
            "views": ["pelvis_ap"],
            "construction": "An angle.",
            "group": "femur",
            "defined_by": [],
        }
    )
    assert entry.reported_to == 1
    assert entry.smallest_detectable_change() is None


def test_pages_are_the_same_every_time_and_link_to_each_other() -> None:
    made = pages()
    assert made == pages_of(load())
    for name in made:
        if name != "index.md":
            assert f"({name})" in made["index.md"]


def test_pages_show_how_each_number_was_seen_and_the_caution() -> None:
    page = pages()[f"{LCEA}.md"]
    assert "Seen: secondary, through table 5 of Tannast 2015" in page
    assert "not a medical device" in page
    assert "judgment prevail" in page
