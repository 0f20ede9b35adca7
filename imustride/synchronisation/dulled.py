"""Join the clock of a sensor on the body to a skate's: the heels' shocks arrive later there, dulled by soft tissue."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.synchronisation.shocks import join

if TYPE_CHECKING:
    from imustride.kinematics import Clock, Cut
    from imustride.recording import Recording
    from imustride.synchronisation.shocks import ShockSettings

# Heels dropped on the ice shake a wrist or the head with a hundredth of what they do to the skates (common practice, no
# source); nothing else is as sharp while the skater stands. Such a shock is looked for nearer to the noise, and a rebound's
# time (0.1 s, simulated) away from the skate's: up there the rebound may be the sharper one. The waveforms then time it.
DULL_M_S2 = 0.8
DULL_MULTIPLE = 8.0
DULL_APART_S = 0.15
# Later than at the skates [s], known to half of it: the transient of a heel strike runs up to the head within some 10 ms
# (Light, McLellan and Klenerman 1980, J. Biomech. 13:477-480, from memory); lower places in proportion to their height. On
# the leg it is less than the waveforms can tell (simulated).
LATER_S = {"shank": 0.0, "thigh": 0.0, "pelvis": 0.006, "wrist": 0.008, "trunk": 0.008, "head": 0.010}
LATER_SD = 0.5
# What the difference of the waveforms adds to the clock's standard deviation, on the leg and above it (simulated, both
# generators: errors of 0 to 10 ms).
WAVEFORM_SD_S = {"shank": 0.002, "thigh": 0.004}
WAVEFORM_SD_ABOVE_S = 0.005


def join_dulled(
    skate: Recording, other: Recording, cuts: tuple[Cut, Cut], settings: ShockSettings, kind: str
) -> Clock:
    """Return the map from a body sensor's clock to a skate's; `joined` is False where no shock is shared.

    Parameters
    ----------
    skate, other : Recording
    cuts : tuple of Cut
        Where either moves, own clocks; the body sensor's to about half a second.
    settings : ShockSettings
    kind : str
        Segment of the body, such as ``shank``.
    """
    dull = replace(
        settings,
        smallest_shock_m_s2=DULL_M_S2,
        noise_multiple=DULL_MULTIPLE,
        match_tolerance_s=DULL_APART_S,
    )
    clock = join(skate, other, cuts, dull)
    later_s = LATER_S[kind]
    sd_s = np.linalg.norm([clock.sd_s, LATER_SD * later_s, WAVEFORM_SD_S.get(kind, WAVEFORM_SD_ABOVE_S)])
    return replace(clock, offset_s=clock.offset_s + later_s, sd_s=float(sd_s))
