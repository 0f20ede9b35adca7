"""The body's part of one simulated run: logs, truth, segments."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from imustride.simulation.body_sensors import Feet, body_log, knocks
from imustride.simulation.body_truth import SegmentTruth, body_columns, on_lane, segment_truth
from imustride.simulation.truth import lane_angle
from imustride.simulation.whole_body import body_motion

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.simulation.body_draw import BodyDraw
    from imustride.simulation.drawing import Draw
    from imustride.simulation.motion import Motion


@dataclass(frozen=True, eq=False, slots=True)
class BodyRun:
    """Logs by place and what really happened; `columns` one row per true push, by blade-off."""

    logs: dict[str, SensorLog]
    columns: pd.DataFrame
    segments: dict[str, SegmentTruth] = field(default_factory=dict)


def body_run(
    drawn: Draw,
    body: BodyDraw,
    motion: Motion,
    shaking_m_s2: dict[str, NDArray[np.float64]],
    log_s: tuple[float, float],
) -> BodyRun:
    """Move the body over the skates of a run and record what it wears.

    `shaking_m_s2` is the acceleration of ice and ringing at the skates, segment axes (n, 3), by side; `log_s` is
    from when to when the devices log.
    """
    whole = body_motion(drawn, body, motion)
    knocked = knocks(drawn, motion.plan, len(motion.body.speed_m_s))
    feet = Feet({side: blow + knocked for side, blow in whole.blows_m_s2.items()}, shaking_m_s2)
    logs = {
        place: body_log(drawn, body, whole, place, feet, motion.plan, log_s).log for place in body.devices
    }
    lane = on_lane(body, motion, whole, lane_angle(motion))
    return BodyRun(logs, body_columns(lane), segment_truth(drawn, lane, tuple(body.devices)))
