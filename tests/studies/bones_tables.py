"""Findings of the bone study as tables of a Markdown page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from tests.studies.bones_breaking import Broken
from tests.studies.bones_cases import Found
from tests.studies.bones_errors import BoneError, Spread
from tests.studies.tables import table

NONE = "–"


def _worst(spreads: Iterable[Spread]) -> str:
    """Mean / 95th percentile / largest, each the worst of several bones."""
    kept = [s for s in spreads if s.count]
    if not kept:
        return NONE
    numbers = (max(getattr(s, k) for s in kept) for k in ("mean", "p95", "largest"))
    return " / ".join(f"{n:.2f}" for n in numbers)


def _bones(found: Found, word: str) -> list[BoneError]:
    return [e for e in found.bones if e.bone.value.startswith(word)]


def _both_ways(errors: Sequence[BoneError]) -> str:
    return _worst([s for e in errors for s in (e.to_model, e.to_truth)])


def _region(errors: Sequence[BoneError], name: str) -> str:
    return _worst([e.regions[name] for e in errors if name in e.regions])


def _held(found: Found) -> str:
    """What the program said, in short."""
    if found.refused:
        return "refused"
    bones = {b for b in found.refused_bones() if b in {e.bone for e in found.bones}}
    if bones:
        return f"{len(bones)} held back"
    warned = {b for e in found.bones if found.said_of(b := e.bone)}
    return "warned" if warned else NONE


def of_variants(variants: Sequence[Found]) -> str:
    """One row for each scan of the real skeleton: the worst of its bones."""
    head = (
        "scan", "femur", "femur, joint", "head and neck", "hip bone", "hip bone, joint", "rim",
        "closed (%)", "gap off (mm)", "head center (mm)", "CPU (s)", "within", "said",
    )  # fmt: skip
    rows: list[tuple[str, ...]] = []
    for found in variants:
        femora, hips = _bones(found, "femur"), _bones(found, "hip_bone")
        joints = [h for h in found.hips if np.isfinite(h.gap_mm)]
        within = sum(found.limits.holds(e) for e in found.bones)
        rows.append(
            (
                found.name,
                _both_ways(femora),
                _region(femora, "joint"),
                _region(femora, "head_neck"),
                _both_ways(hips),
                _region(hips, "joint"),
                _region(hips, "rim"),
                f"{max((h.closed_percent for h in joints), default=np.nan):.2f}",
                f"{max((abs(h.gap_mm - h.true_gap_mm) for h in joints), default=np.nan):.2f}",
                f"{max((h.center_off_mm for h in joints), default=np.nan):.2f}",
                f"{found.segment_cpu_s:.0f} + {found.models_cpu_s:.0f}",
                f"{within} of {len(found.bones) + len(found.missing)}",
                _held(found),
            )
        )
    return table(head, rows)


def _quantiles(values: Sequence[float]) -> str:
    if not values:
        return NONE
    return " / ".join(f"{q:.2f}" for q in np.quantile(np.array(values), [0.5, 0.9, 1.0]))


def of_people(people: Sequence[Found]) -> str:
    """All drawn people together, and those that the program let pass."""
    rows: list[tuple[str, ...]] = []
    for words, start in (("femora", "femur"), ("hip bones", "hip_bone")):
        for which, only_passed in (("all", False), ("let pass", True)):
            errors = [
                e
                for f in people
                for e in _bones(f, start)
                if not only_passed or e.bone not in f.refused_bones()
            ]
            within = sum(f.limits.holds(e) for f in people for e in _bones(f, start)
                         if not only_passed or e.bone not in f.refused_bones())  # fmt: skip
            rows.append(
                (
                    f"{words}, {which}",
                    str(len(errors)),
                    _quantiles([e.mean for e in errors]),
                    _quantiles([e.p95 for e in errors]),
                    _quantiles([e.largest for e in errors]),
                    f"{within} of {len(errors)}",
                )
            )
    hips = [h for f in people for h in f.hips if np.isfinite(h.gap_mm)]
    joints = table(
        ("joints", "n", "closed", "gap off (mm)", "head center (mm)"),
        [
            (
                "all",
                str(len(hips)),
                str(sum(h.closed_percent > 0 for h in hips)),
                _quantiles([abs(h.gap_mm - h.true_gap_mm) for h in hips]),
                _quantiles([h.center_off_mm for h in hips]),
            )
        ],
    )
    head = ("bones", "n", "mean (mm)", "95th percentile (mm)", "largest (mm)", "within")
    return f"{table(head, rows)}\n\n{joints}"


def of_wrong(found: Sequence[Found]) -> str:
    """Every wrong bone and what was said of it; then the count of silent ones."""
    rows: list[tuple[str, ...]] = []
    for one in found:
        silent = set(one.silent())
        errors = {e.bone: e for e in one.bones}
        for bone in one.wrong():
            said = sorted({r.code for r in one.said_of(bone)})
            words = "nothing" if bone in silent else (one.refused and "refused") or ", ".join(said)
            size = _both_ways([errors[bone]]) if bone in errors else "no model"
            rows.append((one.name, bone.words, size, words))
    silent = sum(len(f.silent()) for f in found)
    total = sum(len(f.bones) + len(f.missing) for f in found)
    ending = f"\n\n{len(rows)} of {total} bones wrong, {silent} of them without a word."
    return table(("scan", "bone", "mean / 95th / largest (mm)", "said"), rows) + ending


def on_broken(broken: Sequence[Broken]) -> str:
    """How often the checks notice results that were broken on purpose."""
    rows: list[tuple[str, ...]] = []
    for kind, count in Counter(b.kind for b in broken).items():
        mine = [b for b in broken if b.kind == kind]
        wrong = [b for b in mine if b.is_wrong]
        seen = [b for b in wrong if b.announced]
        held = [b for b in wrong if b.refused]
        codes = sorted({c for b in seen for c in b.codes})
        rows.append(
            (kind, str(count), str(len(wrong)), f"{len(seen)}", f"{len(held)}", ", ".join(codes))
        )
    wrong = [b for b in broken if b.is_wrong]
    seen = sum(b.announced for b in wrong)
    share = 100 * seen / len(wrong) if wrong else float("nan")
    ending = f"\n\n{seen} of {len(wrong)} wrong results noticed ({share:.0f} %)."
    head = ("broken by", "tried", "wrong", "noticed", "held back", "noticed by")
    return table(head, rows) + ending
