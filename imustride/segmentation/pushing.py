"""Which contacts are pushes: from standing to the two-foot glide that ends in none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Clock

# Contacts compared at a time: all of one foot with all of the other would be too many in hours.
MOST_CONTACTS = 256


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
    glide_s = first_glide_s(left, right, settings)
    if not np.isfinite(glide_s):
        # Both feet on the ice as the log ends, longer than in most pushes: more likely the glide has begun.
        last = left[-1:], right[-1:]
        standing = any(np.isnan(own[0, 0]) for own in last)
        unsure = overlaps(*last)[0, 0] > settings.usual_double_support_s and not standing
        counted = contacts if unsure else ended
        return {side: int(np.isfinite(own[:, 1]).sum()) for side, own in counted.items()}
    # A push-off may end a moment after the other foot has landed to glide.
    return {
        side: int((own[:, 1] < glide_s + settings.longest_double_support_s).sum())
        for side, own in shared.items()
    }


def first_glide_s(left: NDArray[np.float64], right: NDArray[np.float64], settings: PushingSettings) -> float:
    """When both feet first begin to stay on the ice together longer than in any push; infinity for never."""
    begins, ends = np.nan_to_num(right[:, 0], nan=-np.inf), np.nan_to_num(right[:, 1], nan=np.inf)
    for some in pieces(len(left), MOST_CONTACTS):
        block = left[some]
        begin, end = np.nan_to_num(block[0, 0], nan=-np.inf), np.nan_to_num(block[-1, 1], nan=np.inf)
        near = right[np.searchsorted(ends, begin) : np.searchsorted(begins, end)]
        standing = np.isnan(block[:, None, 0]) | np.isnan(near[None, :, 0])
        gliding = (overlaps(block, near) > settings.longest_double_support_s) & ~standing
        if gliding.any():
            starts = np.maximum(block[:, None, 0], near[None, :, 0])
            return float(starts[gliding].min())
    return np.inf


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
