"""How names, units and numbers are put before a reader."""

from __future__ import annotations

import math
import re

MISSING = "–"

# Decimals that the uncertainty of each unit leaves a meaning to.
DECIMALS = {"s": 3, "Hz": 2, "deg": 1, "deg/s": 0, "m": 2, "m/s": 2, "%": 1}
SHOWN_UNITS = {"deg": "°", "deg/s": "°/s", "Hz": "/s"}
LABELS = {
    "contact_time_s": "contact time",
    "swing_time_s": "swing time",
    "stride_time_s": "stride time (same foot)",
    "stride_rate_hz": "stride rate (same foot)",
    "step_time_s": "step time (to the other foot)",
    "double_support_s": "both blades on the ice",
    "push_off_angular_velocity_deg_s": "push-off angular velocity",
    "edge_angle_deg": "edge angle from own stance",
    "track_angle_deg": "track angle to the lane",
}
SUFFIX_UNITS = {
    "m_s2": "m/s²",
    "m_s": "m/s",
    "rad_s": "rad/s",
    "deg_s": "°/s",
    "percent": "%",
    "count": "",
    "ratio": "",
}
SUFFIX_UNITS |= {"rad": "rad", "deg": "°", "hz": "Hz", "m": "m", "s": "s"}
_SUFFIX = re.compile(f"_({'|'.join(SUFFIX_UNITS)})$")


def label(metric: str) -> str:
    """Name of a column in words, without its unit."""
    return LABELS.get(metric, _SUFFIX.sub("", metric).replace("_", " "))


def number(value: float, unit: str, *, sign: bool = False) -> str:
    """Return a value with the decimals its unit deserves, without the unit; a dash where missing."""
    if not math.isfinite(value):
        return MISSING
    text = format(value, f".{DECIMALS.get(unit, 3)}f")
    if float(text) == 0:
        text = text.removeprefix("-")
    plus = "+" if sign and float(text) > 0 else ""
    return plus + text.replace("-", "\N{MINUS SIGN}")


def unit(name: str) -> str:
    """Return a unit as it is printed."""
    return SHOWN_UNITS.get(name, name)


def interval(low: float, high: float, of: str) -> str:
    """Return an interval in words, signs shown; a dash where missing."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return MISSING
    return f"{number(low, of, sign=True)} to {number(high, of, sign=True)}"


def unit_of(name: str) -> str:
    """Return the unit that a column's or a condition's name ends in, as it is written there; empty without one."""
    suffix = _SUFFIX.search(name)
    return suffix[1] if suffix else ""
