"""The bones of a real workspace, as the Bones screen asks for them."""

from collections.abc import Iterator
from dataclasses import replace

import httpx
import numpy as np
import pytest

from hipwright.apps.web.bones.at_hand import STANDING, Tilts
from hipwright.apps.web.bones.workspace_bones import WorkspaceBones
from hipwright.domain.anatomy import BoneModel
from hipwright.domain.keeping import Case
from hipwright.domain.keeping_bones import BoneBuild, BuildOrigin, KeptBone
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.anatomy.survey import find_landmarks
from hipwright.wiring import bone_files
from tests.bones_house import BONES, MADE_AT, QUALITY, add_ct, head_center, surface_named
from tests.web_house import PAGE, WebHouse, add_person


@pytest.fixture(scope="module")
def kept(house: WebHouse) -> tuple[Case, BoneBuild]:
    """The modeled person's bones, kept as a build that was made of a CT."""
    keeper = house.opened.keeper
    (case,) = add_person(house.opened, name="Real Bones", number="X-real")
    ct = add_ct(house.opened, case)
    models = [
        BoneModel(bone=bone, surface=surface_named(name), quality=QUALITY)
        for name, bone in BONES.items()
    ]
    landmarks, remarks = find_landmarks(models)
    files = bone_files()
    build = BoneBuild(
        id=keeper.new_id(),
        person=case.person,
        number=0,
        origin=BuildOrigin.CT,
        images=(ct.id,),
        bones=tuple(
            KeptBone(
                bone=model.bone,
                surface_file=keeper.put_file(files.surface_bytes(model.surface)),
                triangles=len(model.surface.faces),
                quality=QUALITY,
                cut_low=True,
            )
            for model in models
        ),
        landmarks=landmarks,
        remarks=remarks,
        labels_file=keeper.put_file(b"labels of a test"),
        edits_file="",
        software="hipwright test",
        by="program:bones",
        made_at=MADE_AT,
    )
    return case, keeper.add_bone_build(build)


@pytest.fixture
def bones(house: WebHouse) -> Iterator[WorkspaceBones]:
    house.state.rooms.clear()
    yield WorkspaceBones(house.opened, house.clock)
    house.state.rooms.clear()


def test_a_kept_build_is_measured_painted_and_drawn(
    bones: WorkspaceBones, kept: tuple[Case, BoneBuild]
):
    case, build = kept
    (found,) = bones.builds(case.person)
    assert found.id == build.id
    measured = bones.measured(build, None)
    left = measured.sides[Side.LEFT]
    values = [f for f in left.findings if isinstance(f, Measurement)]
    assert len(values) > 30
    assert left.border is not None
    # the person was built with the head there: TOLERANCE 0.3 mm, the edge of the fit
    assert np.linalg.norm(left.border.origin_mm - head_center(Side.LEFT)) < 0.3
    assert {one.id for one in measured.maps} == {"residual", "joint_space", "coverage"}
    for one in measured.maps:
        for piece, painted in one.values.items():
            assert len(painted) == len(surface_named(piece).vertices)
            assert np.isfinite(painted).any()
    drawn = bones.drawing(left, "center_edge_angle.lateral_in_space", None)
    assert drawn is not None
    assert drawn.lines


def test_everything_that_was_measured_and_pressed_is_drawn_or_says_so(
    house: WebHouse, inside: httpx.Client, bones: WorkspaceBones, kept: tuple[Case, BoneBuild]
):
    case, _ = kept
    inside.timeout = httpx.Timeout(120)  # measuring takes seconds, on a busy machine many
    page = inside.get(f"/bones/{case.code}/numbers", headers=PAGE)
    assert page.status_code == 200
    for definition in ("alpha_angle.radial.maximum", "acetabular_version.equatorial"):
        query = {"definition": definition, "side": "left"}
        got = inside.get(f"/bones/{case.code}/construction", params=query)
        assert got.status_code == 200, got.text
        assert got.json()["lines"]
    level = inside.get(
        f"/bones/{case.code}/construction",
        params={"definition": "acetabular_version.equatorial", "side": "left"},
    )
    assert level.json()["level"] is True
    assert level.json()["back"][2] < -0.9


def test_a_moved_landmark_and_a_tilt_are_versions_of_a_reading(
    bones: WorkspaceBones, kept: tuple[Case, BoneBuild]
):
    _, build = kept
    found = next(p for p in build.landmarks if p.id == "anterior_superior_iliac_spine")
    moved = bones.move(build, "human:AB", found, expected_version=0)
    assert moved.version == 1
    told = bones.say_tilts(
        build,
        "human:AB",
        Tilts(standing_deg=5.0, supine_deg=None, source="a film", expected_version=1),
    )
    (reading,) = bones.readings(build)
    assert (reading.version, reading.standing_tilt_deg) == (2, 5.0)
    measured = bones.measured(build, told)
    assert set(measured.sides[Side.LEFT].tilted) == {STANDING}
    back = bones.put_back(build, "human:AB", found.id, found.side, expected_version=2)
    assert not back.moved.points


def test_series_of_ct_can_be_worked_on_and_a_build_without_images_has_no_slices(
    house: WebHouse, bones: WorkspaceBones, kept: tuple[Case, BoneBuild]
):
    case, _ = kept
    (series,) = bones.series(case.person)
    assert series.modality == "CT"
    assert bones.newest_job(series) is None
    assert bones.blocks(replace(kept[1], images=())) == ()
