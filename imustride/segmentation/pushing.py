"""Which contacts are pushes: from standing to the two-foot glide that ends in none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Clock


@dataclass(frozen=True, slots=True)
class PushingSettings:
    """When pushing is over (common practice, no source; double support in skating is some 20 % of a stride)."""

    longest_double_support_s: float = 0.5
    usual_double_support_s: float = 0.15
    longest_contact_s: float = 1.6


def overlaps(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Time that each contact of one foot shares with contacts of the other, its longest single share [s]."""
    begin = np.maximum(
        np.nan_to_num(one[:, None, 0], nan=-np.inf), np.nan_to_num(other[None, :, 0], nan=-np.inf)
    )
    end = np.minimum(np.nan_to_num(one[:, None, 1], nan=np.inf), np.nan_to_num(other[None, :, 1], nan=np.inf))
    return np.asarray(np.maximum(end - begin, 0.0))


def end_of_pushing(
    contacts: Mapping[str, NDArray[np.float64]],
    clocks: Mapping[str, Clock],
    settings: PushingSettings,
    cut_off_s: Mapping[str, float] | None = None,
) -> dict[str, int]:
    """Return for each side how many of its contacts, counted from standing, are pushes.

    A contact that the log's end cuts is one, as long as nothing says that the skater already glides.

    Parameters
    ----------
    contacts : mapping of side to ndarray, shape (k, 2)
        Own clocks [s]; the first contact is the standing one, without blade-on.
    clocks : mapping of side to Clock
    settings : PushingSettings
    cut_off_s : mapping of side to float, optional
        End of the log where the skate still moves then, else infinity; own clocks [s].
    """
    joined = len(contacts) == 2 and all(clocks[side].joined for side in contacts)
    ended = {side: with_end(own, (cut_off_s or {}).get(side, np.inf)) for side, own in contacts.items()}
    if not joined:
        return {side: single_foot_end(own, settings) for side, own in ended.items()}
    shared = {side: np.asarray(clocks[side].reference(own)) for side, own in ended.items()}
    left, right = shared["left"], shared["right"]
    together = overlaps(left, right)
    standing = np.isnan(left[:, None, 0]) | np.isnan(right[None, :, 0])
    gliding = (together > settings.longest_double_support_s) & ~standing
    if not gliding.any():
        # Both feet on the ice as the log ends, longer than in most pushes: more likely the glide has begun.
        unsure = together[-1, -1] > settings.usual_double_support_s and not standing[-1, -1]
        counted = contacts if unsure else ended
        return {side: int(np.isfinite(own[:, 1]).sum()) for side, own in counted.items()}
    starts = np.maximum(left[:, None, 0], right[None, :, 0])
    glide_s = np.nanmin(np.where(gliding, starts, np.nan))
    # A push-off may end a moment after the other foot has landed to glide.
    return {
        side: int((own[:, 1] < glide_s + settings.longest_double_support_s).sum())
        for side, own in shared.items()
    }


def with_end(own: NDArray[np.float64], end_s: float) -> NDArray[np.float64]:
    """End an unfinished contact with the log, where that ends in motion."""
    if not np.isfinite(end_s):
        return own
    out = own.copy()
    out[-1, 1] = end_s if np.isnan(out[-1, 1]) else out[-1, 1]
    return out


def single_foot_end(own: NDArray[np.float64], settings: PushingSettings) -> int:
    """Count contacts up to the first that lasts longer than any push."""
    lasting = own[:, 1] - own[:, 0]
    long = np.flatnonzero(lasting > settings.longest_contact_s)
    ended = np.isfinite(own[:, 1])
    return int(ended[: long[0]].sum()) if len(long) else int(ended.sum())
