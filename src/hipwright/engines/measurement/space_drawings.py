"""The drawing of any value in space, whichever bone it belongs to."""

from __future__ import annotations

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_drawing import SpaceDrawing
from hipwright.engines.measurement.space_drawings_acetabulum import drawing_of_socket
from hipwright.engines.measurement.space_drawings_femur import drawing_of_femur

BOTH = {"combined_version.murphy": "acetabular_version.equatorial"}
"""Values of the femur that a value of the socket is part of."""


def drawing_for(
    definition: str, hip: HipInSpace, hour: float | None = None
) -> SpaceDrawing | None:
    """Draw how a value was constructed.

    Parameters
    ----------
    definition
        Id of a catalog entry.
    hip
        As surveyed, without leading axes, in the pose that was measured.
    hour
        Of a value of a series.

    Returns
    -------
    SpaceDrawing or None
        ``None`` for values that nobody draws, and where the value could not be measured.
    """
    of_femur = drawing_of_femur(definition, hip, hour)
    of_socket = drawing_of_socket(BOTH.get(definition, definition), hip, hour)
    if of_femur is None or of_socket is None:
        return of_femur or of_socket
    return SpaceDrawing(
        points=(*of_femur.points, *of_socket.points), lines=(*of_femur.lines, *of_socket.lines)
    )
