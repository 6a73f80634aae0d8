"""Meshes among what ``hipwright add`` is given: declared bone by bone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import ImportRefusedError, SurfaceError
from hipwright.workflows.import_meshes import DeclaredMesh, MeshAxes, MeshUnit

if TYPE_CHECKING:
    from hipwright.domain.keeping_bones import BoneBuild


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """What the command line says of the meshes."""

    bones: Sequence[Bone]
    unit: MeshUnit | None
    axes: MeshAxes | None
    turn_outside_out: bool


def are_meshes(paths: Sequence[Path]) -> bool:
    """Whether meshes are given, and nothing else.

    Raises
    ------
    ImportRefusedError
        Meshes and other things are given at once.
    """
    from hipwright.wiring import mesh_reader

    known = [mesh_reader().recognizes(path) for path in paths]
    if any(known) and not all(known):
        raise ImportRefusedError(
            "cannot take in meshes and studies at once",
            found=f"{sum(known)} meshes and {len(known) - sum(known)} other paths",
            needed="one or the other",
            next_step="Add the study first, then the meshes with --case.",
            field="paths",
        )
    return bool(known) and all(known)


def add_meshes(
    paths: Sequence[Path], case: str | None, declared: Declared, workspace: Path | None
) -> tuple[str, BoneBuild]:
    """Take the meshes in; give the case's code and the build."""
    from hipwright.wiring import mesh_bench, open_workspace
    from hipwright.workflows.import_meshes import import_meshes

    if case is None:
        raise _undeclared("--case", "no case", "the code of an existing case", "case")
    if len(declared.bones) != len(paths):
        raise _undeclared(
            "--bone",
            f"{len(declared.bones)} bones for {len(paths)} files",
            "--bone once for each file, in their order, such as --bone femur_left",
            "bone",
        )
    if declared.unit is None:
        raise _undeclared("--unit", "no unit", "mm, cm or m", "unit")
    if declared.axes is None:
        raise _undeclared("--axes", "no axes", "lps or ras", "axes")
    meshes = [
        DeclaredMesh(
            path=path,
            bone=bone,
            unit=declared.unit,
            axes=declared.axes,
            turn_outside_out=declared.turn_outside_out,
        )
        for path, bone in zip(paths, declared.bones, strict=True)
    ]
    with open_workspace(workspace) as opened:
        owner = opened.keeper.case(case)
        return owner.code, import_meshes(opened.keeper, owner, meshes, mesh_bench())


def tell_build(code: str, build: BoneBuild) -> None:
    """Say what was taken in."""
    for kept in build.bones:
        typer.echo(f"  {kept.bone.words}: {kept.triangles} triangles")
    for remark in build.remarks:
        typer.echo(f"  {remark.severity.value.upper()} {remark.text}", err=True)
    typer.echo(f"Case {code}: bone models {build.number}. Measure them: hipwright bones {code}")


def _undeclared(option: str, found: str, needed: str, field: str) -> SurfaceError:
    return SurfaceError(
        "cannot take in the meshes",
        found=found,
        needed=needed,
        next_step=f"Say it with {option}: a mesh does not say it itself.",
        field=field,
    )
