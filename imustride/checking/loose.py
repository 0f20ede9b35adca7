"""A loose sensor: it goes on ringing after a blow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.quiet import quietest
from imustride.checking.ring_down import Ring, rings_after
from imustride.checking.view import Outcome, untold
from imustride.constants import SKATES
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView

# Blows ring alike where they excite the same mount.
ALIKE = 0.12
# So many of them must ring, and so large beside what else rings: the fit of a decay leaves faint ghosts beside it.
MOST_BLOWS = 0.6
SHARE = 0.12


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge what rings after the shared shocks and the taps; only on skates, since flesh rings too."""
    if view.recording.place not in SKATES:
        return None
    limit = f"rings out within {1e3 * limits.ring_s[0]:.0f} ms below {limits.ring_hz[1]:.0f} Hz"
    heard = [ring for ring in (lasting(view, at_s, limits) for at_s in view.blows_s) if ring is not None]
    if not heard:
        return untold(
            "no sharp blow to tell by", limit, "drop both heels twice, or tap the skate, and stand still"
        )
    ringing = [ring for ring in heard if ring.size > 0]
    together = alike(ringing)
    blows = f"{len(heard)} blow{'s' if len(heard) > 1 else ''}"
    if len(together) < max(min(2, len(heard)), MOST_BLOWS * len(heard)):
        return Outcome("pass", f"rings out in time after {blows}", limit)
    hz = float(np.median([ring.hz for ring in together]))
    decay_s = float(np.median([ring.decay_s for ring in together]))
    return Outcome(
        "fail",
        f"rings at {hz:.0f} Hz for {1e3 * decay_s:.0f} ms after {len(together)} of {blows}",
        limit,
        "fasten the sensor, tighten screws and strap, then drop both heels again",
        1e3 * decay_s,
        "ms",
        decay_s / limits.ring_s[0],
    )


def lasting(view: SensorView, blow_s: float, limits: CheckLimits) -> Ring | None:
    """Return the largest ring that lasts too long after a blow, one of size 0 where none does; None: cannot tell."""
    later = view.blows_s[view.blows_s > blow_s]
    until_s = float(later[0]) if len(later) else np.inf
    if view.cut is not None and blow_s < view.cut.motion_s[0]:
        until_s = min(until_s, view.cut.motion_s[0])
    found = rings_after(view.recording, blow_s, until_s)
    if found is None:
        return None
    best = Ring(0.0, 0.0, 0.0)
    noise = quietest(view.recording) or (0.0, 0.0)
    for rings, level, least in zip(found, noise, (limits.ring_m_s2, limits.ring_deg_s), strict=True):
        heard = [ring for ring in rings if ring.hz > limits.ring_hz[0]]
        loudest = max((ring.size for ring in heard), default=0.0)
        for ring in heard:
            size = ring.size / max(least, level, SHARE * loudest)
            long = ring.decay_s > limits.ring_s[0] and ring.damping < limits.ring_damping
            if long and ring.hz < limits.ring_hz[1] and size > max(1.0, best.size):
                best = Ring(ring.hz, ring.decay_s, size)
    return best


def alike(rings: list[Ring]) -> list[Ring]:
    """Return the largest group of rings of nearly equal frequency."""
    groups = [[other for other in rings if abs(other.hz / ring.hz - 1) < ALIKE] for ring in rings]
    return max(groups, key=len, default=[])


CHECK = Check(
    name="loose",
    title="tight mounting",
    order=130,
    of="sensor",
    question="Does the sensor move with the skate, or does it rock on its mount?",
    source="free decay of a damped oscillator; limits: common practice, no source",
    mended_by="recording",
    judge=judge,
)
