"""The Bones page."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from hipwright.apps.web.bones.at_hand import is_of_hip, piece_in_words, piece_of
from hipwright.apps.web.bones.desk import Opened, bones_of, opened_bones
from hipwright.apps.web.bones.remarks import ShownRemark, remarks_together
from hipwright.apps.web.bones.working import work_facts
from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.named_case import Named
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.static_files import FOLDER
from hipwright.domain.anatomy import Severity
from hipwright.domain.keeping_bones import BoneBuild, KeptBone

router = APIRouter()

Json = dict[str, Any]

MODULES = tuple(
    f"js/{path.relative_to(FOLDER / 'js').as_posix()}"
    for folder in ("components/bone-view", "components/clock-face", "bones")
    for path in sorted((FOLDER / "js" / folder).glob("*.js"))
)
"""The scripts of the screen, so that the browser need not find them one by one."""

LIBRARIES = ("vendor/three.module.js", "vendor/three.core.js")

WORST_FIRST = (Severity.REFUSAL, Severity.WARNING, Severity.NOTE)

COLORS = {"femur": "#e3d6bd", "hip_bone": "#ece3d0", "tibia": "#e3d6bd", "sacrum": "#cfc8bb"}
"""Bones are bone-colored; the two that meet differ a little. None of it means anything."""


@router.get("/bones/{code}")
def show(
    request: Request,
    case: Named,
    build: Annotated[str, Query()] = "",
    by: Annotated[str, Query()] = "",
) -> Response:
    """The bones of a person, seen from one of the person's hips."""
    at_hand = bones_of(request)
    works = [work_facts(at_hand, image) for image in at_hand.series(case.person)]
    builds = at_hand.builds(case.person)
    if not builds:
        return render(request, "bones/none_yet.html", here="Bones", case=case, works=works)
    opened = opened_bones(request, case, build, by)
    return render(
        request,
        "bones/bones.html",
        here="Bones",
        case=case,
        works=works,
        builds=builds,
        opened=opened,
        build=opened.build,
        pieces=[(piece_of(b), piece_in_words(b), b) for b in shown_bones(opened.build)],
        remarks=remarks_in_order(opened.build),
        observer=observer_of(request),
        facts=facts_of(opened, observer_of(request)),
        modules=MODULES,
        libraries=LIBRARIES,
    )


def shown_bones(build: BoneBuild) -> list[KeptBone]:
    """The bones of a build, those of the hips first."""
    return sorted(build.bones, key=lambda bone: (not is_of_hip(bone.bone), bool(bone.part)))


def remarks_in_order(build: BoneBuild) -> list[ShownRemark]:
    """What was noticed, refusals first."""
    ordered = sorted(build.remarks, key=lambda remark: WORST_FIRST.index(remark.severity))
    return remarks_together(ordered)


def facts_of(opened: Opened, observer: str | None) -> Json:
    """What the drawing needs at once; landmarks and maps follow when they are measured."""
    code = opened.case.code
    return {
        "case": code,
        "side": opened.case.side.value,
        "query": opened.query,
        "version": opened.own_version(observer),
        "observer": observer,
        "bones": [
            {
                "id": piece_of(bone),
                "words": piece_in_words(bone),
                "address": f"/bones/{code}/mesh/{piece_of(bone)}?build={opened.build.id}",
                "color": COLORS.get(_kind(bone), "#d8d2c6"),
                "side": None if bone.bone.side is None else bone.bone.side.value,
                "kind": _kind(bone),
                "part": bone.part,
            }
            for bone in shown_bones(opened.build)
        ],
    }


def _kind(bone: KeptBone) -> str:
    side = bone.bone.side
    return bone.bone.value if side is None else bone.bone.value.removesuffix(f"_{side.value}")
