"""What the report of a hip says of its bones."""

from __future__ import annotations

from starlette.requests import Request

from hipwright.apps.web.bones.desk import bones_of, opened_bones
from hipwright.apps.web.bones.measuring import measured_of, side_of
from hipwright.apps.web.showing.words import day
from hipwright.apps.web.state import web_state
from hipwright.domain.keeping import Case
from hipwright.engines.reporting.bone_report import ReportedBones
from hipwright.workflows.show_bones import reported_bones


def bones_for_report(request: Request, case: Case) -> ReportedBones | None:
    """The newest models and what they measure, ``None`` where the person has none."""
    if not bones_of(request).builds(case.person):
        return None
    opened = opened_bones(request, case)
    measured = measured_of(request, opened)
    return reported_bones(
        opened.build,
        opened.reading,
        case.side,
        {side: hip.findings for side, hip in measured.sides.items()},
        tilted=side_of(measured, case.side).tilted,
        when=f"models of {day(opened.build.made_at)}",
        sex=web_state(request).opened.keeper.person(case.person).sex,
    )
