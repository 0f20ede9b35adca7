"""The leg's angles through each contact: a course every twentieth of it, for the mean course of a foot's pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import SIDES
from imustride.metrics.joints import flexion_rad, pitch_rad
from imustride.metrics.limbs_of import WHOLE, known_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import Clock
    from imustride.segments import Body

PERCENT = np.arange(0, 101, 5)
ANGLES = ("knee_flexion_deg", "shank_inclination_deg")


def leg_courses(pushes: pd.DataFrame, body: Body, clocks: Mapping[str, Clock]) -> pd.DataFrame:
    """Return knee flexion and forward tip of the shank through each contact, from blade-on to blade-off.

    Parameters
    ----------
    pushes : DataFrame
        Rows of ``pushes.csv`` of one run.
    body : Body
    clocks : mapping of side to Clock
        From each skate's clock to that of the run.

    Returns
    -------
    DataFrame
        ``side, push, phase, contact_percent`` (0: blade-on, 100: blade-off), ``knee_flexion_deg`` and
        ``shank_inclination_deg``, defined as the metrics of that name. A contact in which a sample of the shank or the thigh
        is missing, or which has no blade-on or blade-off, is left out; an angle nobody wore the sensors for is empty.
    """
    import pandas as pd

    found = [pd.DataFrame({name: [] for name in ("side", "push", "phase", "contact_percent", *ANGLES)})]
    for side in SIDES:
        mine = pushes[(pushes["side"] == side) & pushes["blade_on_s"].notna() & pushes["blade_off_s"].notna()]
        if not len(mine) or side not in clocks or not clocks[side].joined:
            continue
        on_s, off_s = (mine[name].to_numpy(dtype=float)[:, None] for name in ("blade_on_s", "blade_off_s"))
        times_s = (on_s + (off_s - on_s) * PERCENT / 100).ravel()
        angles = [angle.reshape(len(mine), -1) for angle in leg_angles_deg(body, side, times_s)]
        worn = [angle for angle in angles if np.isfinite(angle).any()]
        if not worn:
            continue
        whole = np.logical_and.reduce([np.isfinite(angle).all(axis=1) for angle in worn])
        columns = {name: np.repeat(mine[name][whole], len(PERCENT)) for name in ("side", "push", "phase")}
        columns |= {"contact_percent": np.tile(PERCENT, int(whole.sum()))}
        columns |= {name: angle[whole].ravel() for name, angle in zip(ANGLES, angles, strict=True)}
        found.append(pd.DataFrame(columns))
    return pd.concat(found[1:] or found, ignore_index=True)


def leg_angles_deg(body: Body, side: str, times_s: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Return knee flexion and forward tip of the shank at times of the run's clock [deg], shape (k,) each; NaN where not known."""
    seen = {}
    for name in ("shank", "thigh"):
        segment = body.segments.get(f"{side}_{name}")
        if segment is not None:
            seen[name] = (known_of(segment), segment.attitude(times_s))
    knee, tip = np.full((2, len(times_s)), np.nan)
    if "shank" in seen and seen["shank"][0].upright and seen["shank"][0].forward:
        tip = np.degrees(pitch_rad(seen["shank"][1]))
    if len(seen) == 2 and all(known == WHOLE for known, _ in seen.values()):
        knee = np.degrees(flexion_rad(seen["thigh"][1], seen["shank"][1]))
    return [knee, tip]
