"""Loads the slow libraries once the first page is out, so that the first hip opens quickly."""

from __future__ import annotations

from hipwright.apps.web.state import WebState


def warm_up(state: WebState) -> None:
    """Import what measures and draws, and compile what is compiled at first use."""
    if state.warmed.is_set():
        return
    state.warmed.set()
    from hipwright.domain.landmarks import LandmarkSet
    from hipwright.domain.side import Side
    from hipwright.domain.study import Calibration, Film, View
    from hipwright.workflows.measure_hip import measure_landmarks

    film = Film(
        image="warming",
        view=View.PELVIS_AP,
        columns=100,
        rows=100,
        calibration=Calibration.uncalibrated(),
    )
    state.dock  # noqa: B018 - made at first use, with the libraries that decode pictures
    measure_landmarks(film, LandmarkSet(image="warming", observer="warming"), [Side.LEFT])
