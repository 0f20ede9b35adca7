"""What the metrics of the body see: the worn segments around one foot's pushes, on one grid of the run's clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.joints import flexion_rad, pitch_rad, yaw_rad

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

GRID_HZ = 250.0
# The leg may extend fastest as the blade leaves the ice: an instant known to some 10 ms must not cut that off.
AFTER_OFF_S = 0.05
# Legs are looked at in the contact and a little beyond, the rest over the stride; an event is read between samples.
LEG, NEAR_S = ("shank", "thigh"), 0.06
# Beyond this an angle against the lane says little (common practice, no source).
WORST_HEADING_RAD = np.radians(8.0)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a segment's attitude: its long axis, its forward axis, its heading against the lane."""

    upright: bool
    forward: bool
    heading: bool


@dataclass(frozen=True, eq=False, slots=True)
class Limbs:
    """The segments that go with one foot.

    Parameters
    ----------
    outward : float
        Sign of the lane's y axis that points outward for this foot.
    time_s : ndarray, shape (m,)
        Even times of the run's clock.
    attitude : mapping of str to ndarray, shape (m, 3, 3)
        ``lane_from_segment`` of ``skate``, ``shank`` and ``thigh`` of this side, ``pelvis``, ``trunk``, ``head``,
        and ``arm``: the forearm of the other side. NaN in gaps. Only what was worn.
    known : mapping of str to Known
        For each of them.
    place_m : mapping of str to ndarray, shape (m, 2)
        Across the lane and upwards, of ``pelvis`` and ``head``; integrated: good over a stride, not over a run.
    thigh_m, shank_m : float
        Lengths [m]; NaN where nobody said.
    leg_shares : tuple of float
        Thigh and shank of the whole leg.
    begin_s, on_s, off_s, next_on_s : ndarray, shape (k,)
        Pushes on the run's clock; `begin_s` is blade-on, or the end of the stance for a standing push.
    stride_s : ndarray, shape (m,)
        Length of the stride around each instant.
    poor : frozenset of str
        What was worn and cannot be trusted in all respects.
    """

    outward: float
    time_s: Floats
    attitude: Mapping[str, Floats]
    known: Mapping[str, Known]
    place_m: Mapping[str, Floats]
    thigh_m: float
    shank_m: float
    leg_shares: tuple[float, float]
    begin_s: Floats
    on_s: Floats
    off_s: Floats
    next_on_s: Floats
    stride_s: Floats
    poor: frozenset[str] = frozenset()

    @property
    def nothing(self) -> Floats:
        """No value at any time, shape (m,)."""
        return np.full(len(self.time_s), np.nan)

    def pitch_deg(self, name: str) -> Floats:
        """Forward tip of a segment in its own sagittal plane [deg], shape (m,); NaN unless its axes are known."""
        if name not in self.attitude or not (self.known[name].upright and self.known[name].forward):
            return self.nothing
        return np.degrees(pitch_rad(self.attitude[name]))

    def yaw_deg(self, name: str) -> Floats:
        """Turn of a segment from the lane [deg], shape (m,)."""
        if name not in self.attitude or not self.known[name].heading:
            return self.nothing
        return np.degrees(yaw_rad(self.attitude[name]))

    def flexion_deg(self, proximal: str, distal: str) -> Floats:
        """Flexion between two segments [deg], shape (m,); see `joints.flexion_rad`."""
        for name in (proximal, distal):
            if name not in self.attitude or self.known[name] != Known(True, True, True):
                return self.nothing
        return np.degrees(flexion_rad(self.attitude[proximal], self.attitude[distal]))

    def long_axis(self, name: str) -> Floats:
        """Long axis of a segment in the lane, upwards when standing, shape (m, 3)."""
        if name not in self.attitude or not (self.known[name].upright and self.known[name].heading):
            return np.full((len(self.time_s), 3), np.nan)
        return self.attitude[name][:, :, 2]

    def leg(self) -> Floats:
        """From the ankle to the hip in the lane, in lengths of the straight leg, shape (m, 3)."""
        thigh, shank = self.leg_shares
        return thigh * self.long_axis("thigh") + shank * self.long_axis("shank")

    @property
    def leg_m(self) -> float:
        """Length of the straight leg from hip to ankle [m]; NaN where nobody said."""
        return self.thigh_m + self.shank_m

    def lost(self) -> NDArray[np.bool_]:
        """Whether samples of a segment are missing where a push is looked at, shape (k,); the skate has its own words."""
        half_s = (self.next_on_s - self.on_s) / 2
        stride = (np.fmin(self.begin_s, self.off_s - half_s), np.fmax(self.off_s, self.off_s + half_s))
        stride = (stride[0], np.fmax(stride[1], self.next_on_s))
        lost = np.zeros(len(self.off_s), bool)
        for name, attitude in self.attitude.items():
            if name == "skate":
                continue
            begin_s, end_s = (self.begin_s, self.off_s + AFTER_OFF_S) if name in LEG else stride
            missing = np.isnan(attitude[:, 0, 0])
            lost |= [missing[span].any() for span in self.spans(begin_s - NEAR_S, end_s + NEAR_S)]
        return lost

    def at(self, course: Floats, times_s: Floats) -> Floats:
        """Return a course, shape (m,), at times of the run's clock, shape (k,); NaN outside and in gaps."""
        return np.interp(times_s, self.time_s, course, left=np.nan, right=np.nan)

    def spans(self, from_s: Floats, to_s: Floats) -> list[slice]:
        """Return the samples of each span of time; empty where a time is not known."""
        known = np.isfinite(from_s) & np.isfinite(to_s)
        first = np.searchsorted(self.time_s, np.where(known, from_s, self.time_s[0]))
        stop = np.searchsorted(self.time_s, np.where(known, to_s, self.time_s[0]), side="right")
        return [slice(int(a), int(b) if ok else int(a)) for a, b, ok in zip(first, stop, known, strict=True)]

    def largest(self, course: Floats, from_s: Floats, to_s: Floats) -> tuple[Floats, Floats]:
        """Return the largest value of a course in each span, and when; NaN where any sample is missing, shape (k,)."""
        value, when = np.full(len(from_s), np.nan), np.full(len(from_s), np.nan)
        for k, span in enumerate(self.spans(from_s, to_s)):
            piece = course[span]
            if len(piece) and np.isfinite(piece).all():
                at = int(piece.argmax())
                value[k], when[k] = piece[at], self.time_s[span.start + at]
        return value, when

    def stride_range(self, course: Floats) -> Floats:
        """Range of a course over each stride, the straight line between its ends taken off, shape (k,)."""
        out = np.full(len(self.on_s), np.nan)
        ends_s = np.stack((self.on_s, self.next_on_s), axis=1)
        ends = self.at(course, ends_s)
        for k, span in enumerate(self.spans(self.on_s, self.next_on_s)):
            piece = course[span]
            if len(piece) and np.isfinite(piece).all() and np.isfinite(ends[k]).all():
                # Both ends, between samples, lie on the line.
                out[k] = np.ptp(np.append(piece - np.interp(self.time_s[span], ends_s[k], ends[k]), 0.0))
        return out

    def turning_s(self, course: Floats, near_s: Floats, reach_s: Floats) -> Floats:
        """Return the time of the local maximum or minimum nearest to each instant, within a reach; NaN where none."""
        both = np.stack([self.peak_s(sign * course, near_s, reach_s) for sign in (1.0, -1.0)])
        far = np.where(np.isfinite(both), np.abs(both - near_s), np.inf)
        return np.asarray(np.take_along_axis(both, far.argmin(axis=0)[None], axis=0)[0])

    def peak_s(self, course: Floats, near_s: Floats, reach_s: Floats) -> Floats:
        """Return the time of the local maximum of a course nearest to each instant, within a reach; NaN where none."""
        rising = np.diff(course)
        tops = np.flatnonzero((rising[:-1] > 0) & (rising[1:] <= 0)) + 1
        out = np.full(len(near_s), np.nan)
        if not len(tops):
            return out
        before, here, after = course[tops - 1], course[tops], course[tops + 1]
        # The top of the parabola through three samples.
        shift = 0.5 * (before - after) / (before - 2 * here + after)
        top_s = self.time_s[tops] + shift * (self.time_s[1] - self.time_s[0])
        for k in np.flatnonzero(np.isfinite(near_s) & np.isfinite(reach_s)):
            nearest = top_s[np.argmin(np.abs(top_s - near_s[k]))]
            if abs(nearest - near_s[k]) <= reach_s[k]:
                out[k] = nearest
        return out
