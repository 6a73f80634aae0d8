"""The bones of an open workspace, as the Bones screen asks for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from hipwright.apps.web.bones.at_hand import (
    BoneMap,
    Floats,
    MeasuredBones,
    MeasuredSide,
    Tilts,
    piece_of,
)
from hipwright.domain.anatomy import Bone, SpacePoint, Surface
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, Job, KeptBone
from hipwright.domain.side import Side
from hipwright.domain.volume import Volume
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_drawing import SpaceDrawing
from hipwright.workflows.bone_series import scans_of
from hipwright.workflows.move_bone_landmarks import move_landmarks, put_back, say_tilts
from hipwright.workflows.ports import Clock

if TYPE_CHECKING:
    from hipwright.wiring import Workspace


class WorkspaceBones:
    """Asks the keeper, and the workflows that make and measure bones."""

    def __init__(self, opened: Workspace, clock: Clock) -> None:
        self._opened = opened
        self._clock = clock

    def builds(self, person: str) -> Sequence[BoneBuild]:
        """Every build of a person, newest first."""
        return self._opened.keeper.bone_builds_of(person)

    def readings(self, build: BoneBuild) -> Sequence[BoneReading]:
        """The newest version of every observer's reading, newest first."""
        return self._opened.keeper.bone_readings_of(build.id)

    def move(
        self, build: BoneBuild, observer: str, point: SpacePoint, *, expected_version: int
    ) -> BoneReading:
        """Keep a landmark where a reader put it."""
        return move_landmarks(
            self._opened.keeper,
            build,
            observer,
            (point,),
            expected_version=expected_version,
            clock=self._clock,
        )

    def put_back(
        self,
        build: BoneBuild,
        observer: str,
        landmark: str,
        side: Side | None,
        *,
        expected_version: int,
    ) -> BoneReading:
        """Let a landmark be where the program found it."""
        return put_back(
            self._opened.keeper,
            build,
            observer,
            ((landmark, side),),
            expected_version=expected_version,
            clock=self._clock,
        )

    def say_tilts(self, build: BoneBuild, observer: str, tilts: Tilts) -> BoneReading:
        """Keep how the pelvis is tilted."""
        return say_tilts(
            self._opened.keeper,
            build,
            observer,
            standing_deg=tilts.standing_deg,
            supine_deg=tilts.supine_deg,
            source=tilts.source,
            expected_version=tilts.expected_version,
            clock=self._clock,
        )

    def mesh(self, bone: KeptBone) -> bytes:
        """The kept file: it has the form that the browser reads."""
        return self._opened.keeper.get_file(bone.surface_file)

    def surface(self, build: BoneBuild, bone: KeptBone) -> Surface:
        """A bone's surface in ``patient_lps``, fixed to the build it belongs to."""
        from hipwright.wiring import bone_files

        frame = Frame(FrameKind.PATIENT_LPS, build.id)
        return bone_files().surface(self.mesh(bone), frame)

    def blocks(self, build: BoneBuild) -> Sequence[Volume]:
        """The blocks of the series that shows the hips."""
        from hipwright.wiring import volume_reader

        keeper = self._opened.keeper
        if not build.images:
            return ()
        return volume_reader().read(
            keeper.image(build.images[0]), keeper.get_file, lambda _what, _done, _total: None
        )

    def measured(self, build: BoneBuild, reading: BoneReading | None) -> MeasuredBones:
        """Measure, and make the maps."""
        from hipwright.wiring import bone_files
        from hipwright.workflows.measure_bones import measure_bones

        found = measure_bones(self._opened.keeper, bone_files(), build, reading=reading)
        sides = {
            side: MeasuredSide(
                findings=hip.findings,
                border=hip.border,
                hip=hip.hip,
                head_radius_mm=_head_radius_mm(hip.hip),
                tilted=hip.tilted,
            )
            for side, hip in found.hips.items()
        }
        return MeasuredBones(
            landmarks=found.landmarks,
            sides=sides,
            maps=self._maps(build, sides),
            remarks=tuple(r for r in found.remarks if r not in build.remarks),
        )

    def _maps(self, build: BoneBuild, sides: Mapping[Side, MeasuredSide]) -> tuple[BoneMap, ...]:
        """What can be painted, of both hips together so that they share a legend."""
        from hipwright.engines.anatomy.bone_maps import bone_maps

        found: dict[str, dict[str, Floats]] = {}
        for side, hip in sides.items():
            border, surveyed = hip.border, hip.hip
            if border is None or surveyed is None:
                continue
            femur, hip_bone = (build.bone(make(side)) for make in (Bone.femur, Bone.hip_bone))
            turned = [
                None if kept is None else border.surface_to_canonical(self.surface(build, kept))
                for kept in (femur, hip_bone)
            ]
            maps = bone_maps(surveyed, turned[0], turned[1])
            for kept, painted in ((femur, maps.femur), (hip_bone, maps.hip_bone)):
                if kept is None:
                    continue
                for name, values in painted.items():
                    found.setdefault(name.removesuffix("_mm"), {})[piece_of(kept)] = values
        return tuple(BoneMap(id=name, values=values) for name, values in found.items())

    def drawing(
        self, side: MeasuredSide, definition: str, hour: float | None
    ) -> SpaceDrawing | None:
        """How a value was constructed."""
        from hipwright.engines.measurement.space_drawings import drawing_for

        if side.hip is None:
            return None
        return drawing_for(definition, side.hip, hour)

    def series(self, person: str) -> Sequence[Image]:
        """CT series to make bones from, newest first."""
        from hipwright.wiring import volume_reader

        return scans_of(self._opened.keeper, volume_reader(), person)

    def start(self, image: Image) -> Job:
        """Begin to make bone models in a process of its own."""
        from hipwright.wiring import start_bones_job

        return start_bones_job(self._opened, image.id)

    def newest_job(self, image: Image) -> Job | None:
        """The newest work on a series; one whose process has died says so."""
        from hipwright.wiring import bones_job

        return bones_job(self._opened, image.id)

    def cancel(self, job: str) -> Job:
        """Ask a job to stop."""
        return self._opened.keeper.ask_to_cancel(job)


def _head_radius_mm(hip: HipInSpace | None) -> float | None:
    """Radius of the head, from whichever bone was surveyed."""
    if hip is None:
        return None
    part = hip.femur or hip.socket
    return None if part is None else float(part.head_radius_mm)
