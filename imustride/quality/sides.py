"""Left and right exchanged: an edge leans inwards at the end of a push, on the left foot to the right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics

Told = Literal["as declared", "contradicts", "cannot tell"]


@dataclass(frozen=True, slots=True)
class SideSettings:
    """When the edges tell the side (common practice, no source).

    Nobody pushes off the outside edge in a straight sprint: simulated pushes lean inwards by 14 to 50 degrees in the mean
    of a foot, and hardly a single one outwards.
    """

    before_off_s: float = 0.12
    fewest_pushes: int = 4
    agreeing: float = 0.8
    smallest_edge_deg: float = 5.0
    slowest_m_s: float = 1.0
    forward_share: float = 0.5  # of the horizontal speed; nearly all of it in simulated good runs


def push_edges_deg(skate: Kinematics, off_s: NDArray[np.float64], before_s: float) -> NDArray[np.float64]:
    """Mean edge angle in the last moment of each push, positive towards the inside edge [deg], shape (k,)."""
    sign = 1.0 if skate.side == "left" else -1.0
    ended = off_s[np.isfinite(off_s)]
    first, last = np.searchsorted(skate.time_s, np.stack((ended - before_s, ended)))
    tipped = [
        skate.earth_from_segment[i : max(j, i + 1), 2, 1].mean() for i, j in zip(first, last, strict=True)
    ]
    return np.asarray(sign * np.degrees(np.arcsin(np.clip(tipped, -1.0, 1.0))))


def runs_forward(skate: Kinematics, settings: SideSettings) -> bool:
    """Whether a skate moves the way its forward axis points, as far as its velocity is known."""
    end_s = min(skate.velocity_until_s, skate.cut.motion_s[1])
    moving = slice(*np.searchsorted(skate.time_s, (skate.cut.motion_s[0], end_s)))
    velocity_m_s = skate.velocity_m_s[moving, :2]
    speed_m_s = float(np.linalg.norm(velocity_m_s, axis=1).mean()) if len(velocity_m_s) else 0.0
    along_m_s = float(np.einsum("ni,ni->", velocity_m_s, skate.earth_from_segment[moving, :2, 0]))
    return speed_m_s < settings.slowest_m_s or along_m_s > settings.forward_share * speed_m_s * len(
        velocity_m_s
    )


def told_side(edges_deg: NDArray[np.float64], settings: SideSettings) -> Told:
    """Say whether the edges of a foot's pushes fit the side it is declared as."""
    if len(edges_deg) < settings.fewest_pushes or abs(np.median(edges_deg)) < settings.smallest_edge_deg:
        return "cannot tell"
    inward = float(np.mean(edges_deg > 0))
    if inward >= settings.agreeing:
        return "as declared"
    return "contradicts" if inward <= 1.0 - settings.agreeing else "cannot tell"


def sides_told(
    kinematics: Mapping[str, Kinematics], off_s: Mapping[str, NDArray[np.float64]], settings: SideSettings
) -> dict[str, Told]:
    """Say for each side whether its pushes fit it.

    Parameters
    ----------
    kinematics : mapping of side to Kinematics
    off_s : mapping of side to ndarray
        Blade-offs on the own clock [s].
    settings : SideSettings
    """
    return {
        side: told_side(push_edges_deg(skate, off_s[side], settings.before_off_s), settings)
        for side, skate in kinematics.items()
    }
