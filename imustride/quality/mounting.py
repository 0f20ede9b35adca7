"""Whether a sensor turned in its mount during the run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from imustride.kinematics import Kinematics


@dataclass(frozen=True, slots=True)
class MountingSettings:
    """How far a standing or gliding skate may be tilted against the stance before the start.

    Standing on flat blades, the pitch is held by the ice: a blade rounded to a radius of 3 m and 0.28 m long rocks
    by 2.7 degrees either way. The roll is free: ankles give way, and simulated skaters stand up to 13 degrees
    on an edge after the stop. In the glide the attitude comes from integration, and skaters plough: there only
    gross turns are told, or those that pass both limits of the stop at once. Limits: common practice, no source.
    """

    stop_pitch_deg: float = 8.0
    stop_roll_deg: float = 20.0
    glide_pitch_deg: float = 18.0
    glide_roll_deg: float = 35.0
    glide_after_s: tuple[float, float] = (0.5, 1.5)  # after the last push


def mounting_faults(
    kinematics: Mapping[str, Kinematics], last_off_s: Mapping[str, float], settings: MountingSettings
) -> Iterator[str]:
    """Yield a sentence for each sensor that turned.

    Parameters
    ----------
    kinematics : mapping of side to Kinematics
        `cut.stop_s` only where the skater surely stood.
    last_off_s : mapping of side to float
        Last blade-off on the own clock [s]; NaN where there is none.
    settings : MountingSettings
    """
    for side, skate in kinematics.items():
        stood = stop_tilt_deg(skate)
        if stood is not None:
            where, tilt = "after the stop", stood
            far = abs(tilt[0]) > settings.stop_pitch_deg, abs(tilt[1]) > settings.stop_roll_deg
            turned = any(far)
        else:
            where = "in the glide"
            begin_s, end_s = (last_off_s[side] + later for later in settings.glide_after_s)
            tilt = glide_tilt_deg(skate, begin_s, min(end_s, skate.cut.motion_s[1]))
            far = abs(tilt[0]) > settings.stop_pitch_deg, abs(tilt[1]) > settings.stop_roll_deg
            gross = abs(tilt[0]) > settings.glide_pitch_deg, abs(tilt[1]) > settings.glide_roll_deg
            turned = all(far) or any(gross)
        if turned:
            yield (
                f"the {side} sensor turned in its mount: by {abs(tilt[0]):.0f} degrees in pitch and {abs(tilt[1]):.0f} "
                f"in roll from the stance before the start, seen {where}"
            )


def stop_tilt_deg(skate: Kinematics) -> tuple[float, float] | None:
    """Pitch and roll of the stance after the stop against the one before the start, from gravity [deg]."""
    if skate.cut.stop_s is None:
        return None
    inside = slice(*np.searchsorted(skate.time_s, skate.cut.stop_s))
    if inside.stop <= inside.start:
        return None
    x, y, z = skate.acceleration_m_s2[inside].mean(axis=0)
    return float(np.degrees(np.arctan2(-x, np.hypot(y, z)))), float(np.degrees(np.arctan2(y, z)))


def glide_tilt_deg(skate: Kinematics, begin_s: float, end_s: float) -> tuple[float, float]:
    """Mean pitch and roll between two times, from the attitude [deg]; zero where nothing lies between."""
    if not begin_s < end_s:
        return 0.0, 0.0
    inside = slice(*np.searchsorted(skate.time_s, (begin_s, end_s)))
    if inside.stop <= inside.start:
        return 0.0, 0.0
    x, y, z = skate.earth_from_segment[inside, 2].mean(axis=0)
    return float(np.degrees(np.arctan2(-x, np.hypot(y, z)))), float(np.degrees(np.arctan2(y, z)))
