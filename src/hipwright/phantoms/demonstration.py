"""Six invented demonstration hips: anatomy only. Nobody real is described.

Names, dates and stories are added where the demonstration is made; here each person
is a key, and each key a spec. Values are chosen to teach (judgment).
"""

from dataclasses import dataclass, replace
from types import MappingProxyType

from hipwright.domain.side import Side
from hipwright.phantoms.person_spec import (
    Bump,
    HipSpec,
    PersonSpec,
    Resection,
    RimChange,
    RimOssicle,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemonstrationPerson:
    """One invented person: who, which hip, and the anatomy at each time.

    Attributes
    ----------
    key
        A plain word for the story, unique.
    sex, age_years, side
        ``"F"`` or ``"M"``; age at the first films; the hip that is looked after.
    stages
        Anatomy by time: always ``"first"``, and ``"after_operation"`` where there was one.
    """

    key: str
    sex: str
    age_years: int
    side: Side
    stages: MappingProxyType[str, PersonSpec]


def _stages(
    first: PersonSpec, after: PersonSpec | None = None
) -> MappingProxyType[str, PersonSpec]:
    return MappingProxyType({"first": first} | ({"after_operation": after} if after else {}))


_ROWER_RIGHT = HipSpec(
    head_radius_mm=22.6,
    joint_gap_mm=3.7,
    lateral_center_edge_deg=29.0,
    roof_angle_deg=5.0,
    anteversion_deg=23.0,
    version_deg=13.0,
    neck_shaft_deg=129.0,
    bumps=(Bump(height_mm=1.6, onset_deg=56.0, hour=1.4, half_extent_hours=3.0),),
)

ROWER = DemonstrationPerson(
    key="rower",
    sex="F",
    age_years=26,
    side=Side.LEFT,
    stages=_stages(
        PersonSpec(
            left=replace(
                _ROWER_RIGHT,
                lateral_center_edge_deg=31.0,
                roof_angle_deg=4.0,
                version_deg=11.0,
                bumps=(
                    Bump(
                        height_mm=4.6, onset_deg=76.0, hour=1.4, half_extent_hours=3.4, ramp_mm=9.0
                    ),
                ),
            ),
            right=_ROWER_RIGHT,
            shape=MappingProxyType({1: 0.4, 5: 0.5, 6: -0.4}),
        )
    ),
)

_WALKER_RIGHT = HipSpec(
    head_radius_mm=22.0,
    joint_gap_mm=3.4,
    lateral_center_edge_deg=38.0,
    roof_angle_deg=0.0,
    anteversion_deg=16.0,
    version_deg=17.0,
    neck_shaft_deg=126.0,
)

HILL_WALKER = DemonstrationPerson(
    key="hill_walker",
    sex="F",
    age_years=44,
    side=Side.LEFT,
    stages=_stages(
        PersonSpec(
            left=replace(
                _WALKER_RIGHT,
                joint_gap_mm=3.1,
                lateral_center_edge_deg=43.0,
                roof_angle_deg=-2.5,
                rim_changes=(RimChange(hour=2.0, half_extent_hours=2.5, degrees=6.0),),
                ossicles=(RimOssicle(first_hour=11.2, last_hour=13.6, thickness_mm=4.2),),
            ),
            right=_WALKER_RIGHT,
            shape=MappingProxyType({1: -0.3, 2: 0.5, 7: 0.6}),
        )
    ),
)

_DANCER_LEFT = HipSpec(
    head_radius_mm=21.6,
    joint_gap_mm=4.2,
    lateral_center_edge_deg=24.0,
    roof_angle_deg=9.0,
    anteversion_deg=20.0,
    version_deg=30.0,
    neck_shaft_deg=134.0,
)

DANCER = DemonstrationPerson(
    key="dancer",
    sex="F",
    age_years=22,
    side=Side.RIGHT,
    stages=_stages(
        PersonSpec(
            left=_DANCER_LEFT,
            right=replace(
                _DANCER_LEFT,
                joint_gap_mm=4.4,
                head_shift_mm=(0.5, -0.3, 0.3),
                lateral_center_edge_deg=22.0,
                roof_angle_deg=11.0,
                rim_changes=(RimChange(hour=2.0, half_extent_hours=2.5, degrees=-6.0),),
                version_deg=34.0,
                neck_shaft_deg=137.0,
            ),
            shape=MappingProxyType({2: -0.6, 5: -0.5, 8: 0.5}),
        )
    ),
)

_ORCHARD_LEFT = HipSpec(
    head_radius_mm=25.2,
    joint_gap_mm=3.6,
    head_shift_mm=(0.2, 0.0, 0.4),
    lateral_center_edge_deg=34.0,
    roof_angle_deg=3.0,
    version_deg=12.0,
    neck_shaft_deg=126.0,
    bumps=(Bump(height_mm=1.8, onset_deg=58.0, hour=1.2, half_extent_hours=3.0),),
)

ORCHARD_KEEPER = DemonstrationPerson(
    key="orchard_keeper",
    sex="M",
    age_years=57,
    side=Side.RIGHT,
    stages=_stages(
        PersonSpec(
            left=_ORCHARD_LEFT,
            right=replace(
                _ORCHARD_LEFT,
                joint_gap_mm=3.3,
                head_shift_mm=(1.1, -0.2, 1.4),
                lateral_center_edge_deg=37.0,
                roof_angle_deg=4.0,
                bumps=(
                    Bump(height_mm=2.6, onset_deg=64.0, hour=1.2, half_extent_hours=3.2),
                    Bump(
                        height_mm=2.4, onset_deg=66.0, hour=6.2, half_extent_hours=2.6, ramp_mm=5.0
                    ),
                    Bump(
                        height_mm=1.6,
                        onset_deg=62.0,
                        hour=10.0,
                        half_extent_hours=2.0,
                        ramp_mm=5.0,
                    ),
                ),
                rim_changes=(RimChange(hour=8.5, half_extent_hours=2.5, degrees=4.0),),
            ),
            shape=MappingProxyType({1: -0.5, 2: 0.3, 6: 0.6}),
        )
    ),
)

_RESCUER_RIGHT = HipSpec(
    head_radius_mm=24.6,
    joint_gap_mm=3.8,
    lateral_center_edge_deg=31.0,
    roof_angle_deg=4.0,
    version_deg=10.0,
    neck_shaft_deg=127.0,
    bumps=(Bump(height_mm=2.6, onset_deg=63.0, hour=1.5, half_extent_hours=3.2),),
)

MOUNTAIN_RESCUER = DemonstrationPerson(
    key="mountain_rescuer",
    sex="M",
    age_years=35,
    side=Side.LEFT,
    stages=_stages(
        PersonSpec(
            left=replace(
                _RESCUER_RIGHT,
                joint_gap_mm=3.5,
                lateral_center_edge_deg=29.0,
                bumps=(
                    Bump(
                        height_mm=4.2, onset_deg=73.0, hour=1.3, half_extent_hours=3.6, ramp_mm=9.0
                    ),
                ),
                resections=(
                    Resection(hour=3.6, half_extent_hours=3.0, onset_deg=80.0, depth_mm=2.0),
                ),
            ),
            right=_RESCUER_RIGHT,
            shape=MappingProxyType({1: -0.4, 5: 0.4, 9: 0.5}),
        )
    ),
)

_KEEPER_LEFT = HipSpec(
    head_radius_mm=24.9,
    joint_gap_mm=4.0,
    lateral_center_edge_deg=28.0,
    roof_angle_deg=6.0,
    anteversion_deg=23.0,
    version_deg=14.0,
    neck_shaft_deg=129.0,
    bumps=(Bump(height_mm=1.4, onset_deg=55.0, hour=1.5, half_extent_hours=3.0),),
)

_KEEPER_BEFORE = PersonSpec(
    left=_KEEPER_LEFT,
    right=replace(
        _KEEPER_LEFT,
        lateral_center_edge_deg=30.0,
        roof_angle_deg=5.0,
        version_deg=12.0,
        bumps=(Bump(height_mm=4.0, onset_deg=71.0, hour=1.5, half_extent_hours=3.3, ramp_mm=9.0),),
    ),
    shape=MappingProxyType({1: -0.6, 2: -0.3, 10: 0.5}),
)

HANDBALL_KEEPER = DemonstrationPerson(
    key="handball_keeper",
    sex="M",
    age_years=19,
    side=Side.RIGHT,
    stages=_stages(
        _KEEPER_BEFORE,
        replace(
            _KEEPER_BEFORE,
            right=replace(
                _KEEPER_BEFORE.right,
                resections=(
                    Resection(hour=1.5, half_extent_hours=5.5, onset_deg=80.0, depth_mm=1.2),
                ),
            ),
        ),
    ),
)

DEMONSTRATION_PEOPLE = (
    ROWER,
    HILL_WALKER,
    DANCER,
    ORCHARD_KEEPER,
    MOUNTAIN_RESCUER,
    HANDBALL_KEEPER,
)
