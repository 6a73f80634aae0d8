"""Bones told for a report."""

from dataclasses import replace

from hipwright.domain.anatomy import BoneLandmarks, SpacePoint
from hipwright.domain.keeping_bones import BoneReading
from hipwright.domain.side import Side
from hipwright.engines.reporting.bone_report import ReportedBones
from hipwright.workflows.show_bones import bones_of_case, reported_bones, tilt_in_words
from tests.bones_house import MADE_AT, REMARKS, build_of, made_up_findings

POINT = SpacePoint(id="x", side=Side.LEFT, at_mm=(0.0, 0.0, 0.0), sd_mm=1.0, moved=True)
READING = BoneReading(
    id="r", build="build-1", observer="human:ab", moved=BoneLandmarks(points=(POINT,)),
    standing_tilt_deg=6.0, supine_tilt_deg=None, tilt_source="a film", version=3, saved_at=MADE_AT,
)  # fmt: skip


def told(
    reading: BoneReading | None = READING, tilted: tuple[str, ...] = ("standing",)
) -> ReportedBones:
    return reported_bones(
        build_of("p", "i", remarks=REMARKS),
        reading,
        Side.LEFT,
        {side: tuple(made_up_findings(side, 0.0)) for side in Side},
        tilted=dict.fromkeys(tilted, ()),
        when="models of today",
        sex="F",
    )


def test_the_report_says_who_moved_landmarks_and_who_said_the_tilt():
    facts = dict(told().facts)
    assert facts["Moved by hand"] == "1 landmark by AB, version 3"
    assert facts["Tilt of the pelvis"] == "standing 6.0° forward (a film)"
    assert list(told().tilted) == ["standing, 6.0° forward"]


def test_bones_nobody_touched_say_nothing_of_readers():
    facts = dict(told(reading=None).facts)
    assert set(facts) == {"Models", "Made by"}
    assert list(told(reading=None).tilted) == ["standing"]
    quiet = replace(READING, moved=BoneLandmarks(), standing_tilt_deg=None)
    assert set(dict(told(reading=quiet).facts)) == {"Models", "Made by"}


def test_remarks_are_sorted_by_weight_and_name_their_bone():
    (warning,) = told().warnings
    assert warning.startswith("Left femur: The joint is narrower")
    assert told().notes == ("Slices lie 1.0 mm apart.",)


def test_tilts_are_told_with_their_way():
    assert tilt_in_words(0.02) == "upright"
    assert tilt_in_words(8) == "8.0° forward"


def test_a_case_without_models_has_no_bones_to_report():
    class Empty:
        def bone_builds_of(self, person):
            return ()

    class Hip:
        person = "p"

    assert bones_of_case(Empty(), None, Hip()) is None  # pyright: ignore[reportArgumentType] (enough of a keeper)
