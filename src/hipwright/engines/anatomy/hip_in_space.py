"""One hip as the measurements in space see it: a femur, a socket, or both."""

from __future__ import annotations

from dataclasses import dataclass

from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.socket_in_space import SocketInSpace


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipInSpace:
    """What was surveyed of one hip, in ``hip_canonical``.

    Either part is ``None`` where its bone is absent or was refused. ``tilt_deg`` tells how
    far the pelvis (with everything that is carried along) is turned from the anterior
    pelvic plane: forward (anterior tilt) is positive.
    """

    femur: FemurInSpace | None
    socket: SocketInSpace | None
    tilt_deg: float = 0.0
