"""Courses of edge, pitch and track angle of one skate over the run."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.shapes import GRID_HZ, STEP_KINDS, Course, step

if TYPE_CHECKING:
    from tests.generators.body import Body
    from tests.generators.factors import Factors
    from tests.generators.plan import Plan, Stance
    from tests.generators.shapes import Array

# Pitch bursts: parts (from, to, share of the angle, skew) in units of the burst's length.
BURSTS = {
    "bell": ((0.0, 1.0, 1.0, 0.0),),
    "early": ((0.0, 1.0, 1.0, 0.6),),
    "late": ((0.0, 1.0, 1.0, -0.6),),
    "double": ((0.0, 0.62, 0.45, 0.0), (0.34, 1.0, 0.55, 0.0)),
    "broad": ((0.0, 0.6, 0.34, 0.0), (0.2, 0.8, 0.33, 0.0), (0.4, 1.0, 0.33, 0.0)),
}
SIGN = {"left": 1.0, "right": -1.0}
GIVE_M = 0.014  # landing speed times length of the impact: at most about 7 mm of give


def recovery_m(swing_s: float) -> float:
    """Distance by which a foot can catch up with the body in a swing, by speed and by acceleration [m]."""
    return min(3.5 * swing_s, 9.0 * swing_s**2)


@dataclass(frozen=True, eq=False)
class Courses:
    """Courses of one skate on the fine grid.

    `roll_rad` about the blade's own axis (positive: towards the skater's right), `pitch_rad`
    positive toe-down, `track_rad` running direction from the earth's x axis, `hold` share of the
    body's speed that the blade does not follow, `skid_m_s` slip to the left, `lift_m` height.
    """

    roll_rad: Array
    pitch_rad: Array
    track_rad: Array
    hold: Array
    skid_m_s: Array
    lift_m: Array
    landing_m_s: dict[int, float]


class Skater:
    """Draws the courses of one skate, contact by contact."""

    def __init__(self, f: Factors, plan: Plan, body: Body, side: str, rng: np.random.Generator) -> None:
        self.f, self.plan, self.body, self.side, self.rng = f, plan, body, side, rng
        self.sign = SIGN[side]
        samples = len(body.speed_m_s)
        own = np.radians([rng.normal() * 0.7, rng.normal() * 0.4])
        self.zero_roll = self.sign * np.radians(self.number("stance_roll_deg")) + own[0]
        self.zero_pitch = np.radians(self.number("stance_pitch_deg")) + own[1]
        toe_out = self.sign * np.radians(self.number("toe_out_deg") + rng.normal() * 2.0)
        self.roll = Course(samples, self.zero_roll)
        self.pitch = Course(samples, self.zero_pitch)
        self.track = Course(samples, toe_out)
        self.hold = Course(samples, 1.0)
        self.skid = Course(samples)
        self.lift = Course(samples)
        self.at_roll, self.at_pitch, self.at_track, self.at_hold = (
            self.zero_roll,
            self.zero_pitch,
            toe_out,
            1.0,
        )
        self.landing: dict[int, float] = {}
        self.share: dict[int, float] = {}
        self.outward: dict[int, float] = {}
        for stance in plan.of_side(side)[:-1]:
            self._plan_push(stance)

    def number(self, name: str) -> float:
        """Return a factor as a number."""
        return float(self.f[name])

    def larger(self, name: str) -> float:
        """Factor of this side from a left-right difference."""
        return 1.0 + 0.5 * self.sign * self.number(f"difference_{name}")

    def vary(self, sd: float) -> float:
        """Random factor of one push."""
        return float(np.exp(self.rng.normal() * sd))

    def turn(self, what: str, start_s: float, end_s: float, to: float, skew: float = 0.0) -> None:
        """Bring roll, pitch, track or hold to a new level between two times [s]."""
        course: Course = getattr(self, what)
        kind = STEP_KINDS[int(self.rng.integers(len(STEP_KINDS)))]
        course.add_step(start_s, end_s, to - getattr(self, f"at_{what}"), kind, skew)
        setattr(self, f"at_{what}", to)

    def courses(self) -> Courses:
        """Draw everything."""
        own = self.plan.of_side(self.side)
        for stance, following in itertools.pairwise(own):
            self._push(stance)
            self._swing(stance, following)
        self._ending(own[-1])
        self._shocks()
        self._shuffle()
        self._sway()
        return Courses(
            self.roll.value, self.pitch.value, self.track.value, self.hold.value,
            self.skid.value, self.lift.value, self.landing,
        )  # fmt: skip

    def _push(self, c: Stance) -> None:
        """Edge, track and hold of one contact, from its landing attitude to the push-off."""
        f = self.f
        on = max(c.on_s, self.plan.start_s)
        length = c.off_s - on
        fade = np.exp(-max(c.order - 1, 0) / 4.0)
        top = (
            self.number("edge_first_deg") * fade + self.number("edge_peak_deg") * (1.0 - fade)
        ) * self.larger("edge")
        top = self.sign * np.radians(min(top * self.vary(self.number("push_sd")), 58.0))
        peak = c.off_s - min(self.number("edge_peak_lead_s") * self.vary(0.2), 0.3 * length)
        if f["edge_course"] == "flip" and np.isfinite(c.on_s):
            self.turn(
                "roll", on + 0.1 * length, on + 0.45 * length, self.sign * np.radians(self.rng.uniform(2, 8))
            )
        begin = on + (0.05 if f["edge_course"] == "even" else 0.4) * (peak - on)
        self.turn("roll", begin, peak, top, self.rng.uniform(-0.5, 0.5))
        self.turn("roll", peak, c.off_s + 0.05, 0.85 * top)
        outward = self.outward[c.order] * self.vary(0.05)
        heading = self.body.heading_rad[int(c.off_s * GRID_HZ)]
        carve = self.number("carve")
        self.turn(
            "track",
            on + 0.1 * length,
            c.off_s + 0.04,
            heading + self.sign * min(outward * (1.0 + 0.3 * carve), 1.1),
        )
        slip = self.number("skid_m_s") * self.rng.uniform(0.3, 1.0) * self.sign
        self.skid.add_bump(c.off_s - 0.6 * length, c.off_s + 0.1, slip, 3.0, self.rng.uniform(-0.4, 0.4))
        self._heel(c)
        self._left_behind(c)
        if c.order == self.plan.stumble:
            middle = on + self.rng.uniform(0.3, 0.6) * length
            self.pitch.add_bump(middle, middle + 0.12, np.radians(self.rng.uniform(5.0, 18.0)))
            self.roll.add_bump(middle - 0.02, middle + 0.16, np.radians(self.rng.uniform(-15.0, 15.0)))
            self.hold.add_bump(middle, middle + 0.1, self.rng.uniform(0.1, 0.5))

    def _plan_push(self, c: Stance) -> None:
        """Draw how much of the body's path the blade stays behind, and how far out it points.

        The foot must be able to catch up in the swing that follows, and the leg to reach it.
        """
        on = max(c.on_s, self.plan.start_s)
        path = self.body.mean_speed(on, c.off_s) * (c.off_s - on)
        swing = self._following(c).on_s - c.off_s
        reach = (self.number("reach_back_m") + self.number("reach_ahead_m")) * self.vary(0.1)
        later = self.body.mean_speed(c.off_s, c.off_s + swing) * swing  # the hold fades only in the swing
        share = min(reach / max(path, 1e-3), recovery_m(swing) / max(path + 0.6 * later, 1e-3), 0.97)
        if not np.isfinite(c.on_s):
            share = 1.0 if self.rng.random() < 0.6 else self.rng.uniform(0.9, 1.0)
        self.share[c.order] = share
        glide = max(path * (1.0 - share), 0.2)
        sideways = min(self.number("abduction_m"), 0.7 * recovery_m(swing)) * self.larger("abduction")
        fade = np.exp(-max(c.order - 1, 0) / self.number("turn_out_fade_pushes"))
        angle = (
            np.arctan(sideways / glide) * (1.0 - fade) + np.radians(self.number("first_turn_out_deg")) * fade
        )
        self.outward[c.order] = float(np.clip(angle, 0.07, np.arctan(1.2 * sideways / glide)))

    def _following(self, c: Stance) -> Stance:
        """Next contact of the same foot."""
        return next(s for s in self.plan.of_side(self.side) if s.order == c.order + 2)

    def _heel(self, c: Stance) -> None:
        """Pitch-rate burst about the blade-off; of given peak rate, length and shape."""
        following = self._following(c)
        swing = following.on_s - c.off_s
        rate = (
            np.radians(self.number("push_rate_deg_s"))
            * self.larger("push")
            * self.vary(self.number("push_sd"))
        )
        length = self.number("push_length_s") * self.vary(0.1)
        parts = BURSTS[str(self.f["push_shape"])]
        u = np.linspace(0.0, 1.0, 401)
        unit = sum(p[2] * step((u - p[0]) / (p[1] - p[0]), "septic", p[3]) for p in parts)
        slope = np.gradient(unit, u)
        u_peak, steepest = float(u[np.argmax(slope)]), float(slope.max())
        lead = float(
            np.clip(
                self.number("push_lead_s") + self.sign * 0.5 * self.number("difference_lead"), -0.042, 0.042
            )
        )
        peak = c.off_s + lead + 0.004 * self.rng.normal()
        length = min(length, 0.9 * swing, (following.on_s - 0.05 - peak) / max(1.0 - u_peak, 0.2))
        angle = np.radians(min(self.number("push_angle_deg"), 150.0 * swing))
        quickest, bend = self.number("push_quickness_rad_s2"), float(np.abs(np.gradient(slope, u)).max())
        rate = min(rate, steepest * np.sqrt(angle * quickest / bend))
        length = min(length, angle * steepest / rate)
        rate = min(rate, quickest * length * steepest / bend)
        rise = rate * length / steepest
        start = peak - u_peak * length
        for p in parts:
            self.pitch.add_step(start + p[0] * length, start + p[1] * length, rise * p[2], "septic", p[3])
        self.at_pitch += rise
        self.heel_back_s = max(peak + 0.35 * length, c.off_s + 0.01)

    def _left_behind(self, c: Stance) -> None:
        """Share of the body's speed the blade does not follow: all when pivoting, a little when gliding."""
        on = max(c.on_s, self.plan.start_s)
        share = self.share[c.order]
        early = share > 0.6
        end = on + (0.3 if early else 0.9) * (c.off_s - on)
        self.turn("hold", on, end, share if early else min(1.6 * share, 0.8))

    def _swing(self, c: Stance, following: Stance) -> None:
        """Recovery: foot comes back to its landing attitude along one of four kinds of path."""
        off, on = c.off_s, following.on_s
        length = on - off
        last = not np.isfinite(following.off_s)
        landing = self.sign * np.radians(self.number("edge_landing_deg") + 1.5 * self.rng.normal())
        pitch = np.radians(self.number("pitch_landing_deg") + 1.5 * self.rng.normal())
        outward = 0.3 * self.rng.uniform(-0.1, 0.4) if last else self.outward[following.order]
        outward = 0.01 * self.rng.normal() if last else outward * (1.0 - 0.7 * min(self.number("carve"), 1.2))
        heading = self.body.heading_rad[int(on * GRID_HZ)]
        self.turn("roll", off + 0.05 * length, on - 0.1 * length, 0.3 * landing if last else landing)
        self.turn("pitch", self.heel_back_s, on - 0.02 * length, pitch, self.rng.uniform(-0.2, 0.5))
        self.turn("track", off + 0.1 * length, on - 0.04 * length, heading + self.sign * outward)
        early = self.body.mean_speed(off, on) < 0.35 * self.number("top_speed_m_s")
        self.turn("hold", off + 0.05, on, 0.5 if early and not last else 0.0)
        for course, name in ((self.roll, "roll"), (self.track, "yaw"), (self.pitch, "pitch")):
            size = (
                np.radians(self.number(f"swing_{name}_deg"))
                * self.vary(0.2)
                * (1.0 if name == "pitch" else self.sign)
            )
            course.add_bump(off, on - 0.02, size * min(length / 0.3, 1.0), 3.0, self.rng.uniform(-0.5, 0.5))
        self._lift(off, on, following.order)
        self._settle(following)

    def _lift(self, off: float, on: float, order: int) -> None:
        height = self.number("lift_m") * self.vary(0.15) * min((on - off) / 0.28, 1.0) ** 2
        kind = self.f["swing_path"]
        if kind == "drag":
            height = self.rng.uniform(0.010, 0.02)
            self.lift.add_bump(off, on, height, 3.0)
            self.lift.add_bump(off, on, 0.3 * height, 4.0, -0.5)
        elif kind == "two_humps":
            self.lift.add_bump(off, on, 0.6 * height, 3.0, 0.7)
            self.lift.add_bump(off, on, 0.6 * height, 3.0, -0.7)
        else:
            self.lift.add_bump(off, on, height, 3.0, 0.6 if kind == "kick" else 0.0)
        release = self.number("release_m_s") * self.vary(0.2)
        late = min(0.4 * (on - off), 0.16)
        down = self.number("landing_m_s") * self.larger("landing") * self.vary(0.25)
        rise = max(self.number("release_s"), release / 18.0)
        self.lift.add_departure(off, release, rise, off + 0.6 * (on - off))
        impact = min(self.number("landing_s"), GIVE_M / max(down, 1e-3))
        impact *= 2.5 if self.f["landing_shape"] == "double" else 1.0
        self.lift.add_arrival(on, down, late, impact, str(self.f["landing_shape"]))
        scuff = self.number("landing_scuff_m_s") * self.rng.uniform(-1.0, 1.0)
        self.skid.add_bump(on - 0.06, on + 0.05, scuff, 3.0)
        self.landing[order] = down

    def _settle(self, c: Stance) -> None:
        """After the landing: the foot comes flat (a slap when it landed toe-up)."""
        pivot = c.order <= self.number("pivot_pushes") + 1 and np.isfinite(c.off_s)
        flat = np.radians(
            self.number("pivot_pitch_deg" if pivot else "pitch_glide_deg") + 0.3 * self.rng.normal()
        )
        room = 0.6 * (c.off_s - c.on_s)
        settle = self.number("pitch_settle_s") * self.vary(0.15)
        gentle = 2.5 * abs(self.at_pitch - flat) / self.number("slap_rate_rad_s")
        settle = min(max(settle, gentle), room)
        self.turn("pitch", c.on_s - 0.004, c.on_s + settle, flat, self.rng.uniform(-0.7, 0.3))

    def _ending(self, c: Stance) -> None:
        """Two-foot glide, stop, standing."""
        brake = self.plan.brake_s
        toe_in = np.radians(self.number("toe_in_glide_deg"))
        heading = self.body.heading_rad[int(brake[0] * GRID_HZ)]
        now = c.on_s + 0.12
        if toe_in > 0.0 and brake[0] - now > 0.5:
            self.turn("track", now, now + 0.5, heading - self.sign * toe_in)
        turned = -self.sign * np.radians(self.rng.uniform(12.0, 35.0))
        edge = self.sign * np.radians(self.rng.uniform(6.0, 22.0))
        if self.f["stop"] != "plough":
            way = 1.0 if self.f["stop"] == "sideways_left" else -1.0
            turned = way * np.radians(self.rng.uniform(50.0, 65.0))
            edge = -way * np.radians(self.rng.uniform(8.0, 25.0))
        self.turn("track", brake[0], brake[0] + 0.4, self.body.heading_rad[-1] + turned)
        self.turn("roll", brake[0], brake[0] + 0.4, edge)
        self.turn("roll", brake[1] - 0.3, brake[1] + 0.2, self.zero_roll + np.radians(self.rng.normal()))
        self.turn(
            "pitch", brake[1] - 0.3, brake[1] + 0.2, self.zero_pitch + np.radians(0.3 * self.rng.normal())
        )

    def _shocks(self) -> None:
        """Both heels raised and dropped."""
        for at in self.plan.shocks_s:
            drop = at + self.rng.normal() * self.number("shock_lag_sd_s")
            speed = self.number("shock_speed_rad_s") * self.vary(0.1)
            self.pitch.add_arrival(drop, speed, 0.12, 0.006, "half_sine")
            self.pitch.add_bump(drop - 0.5, drop - 0.02, 0.12)

    def _shuffle(self) -> None:
        """Small lifts and turns of the feet on the spot, before the start and after the stop."""
        for start_s, end_s in self.plan.shuffles_s:
            now = start_s + self.rng.uniform(0.0, 0.3)
            while now < end_s - 0.5:
                end = now + self.rng.uniform(0.25, 0.5)
                self.lift.add_bump(now, end, self.rng.uniform(0.005, 0.04))
                self.pitch.add_bump(now, end, np.radians(self.rng.uniform(-6.0, 12.0)))
                self.roll.add_bump(now, end, np.radians(self.rng.uniform(-6.0, 6.0)))
                self.track.add_bump(now, end, np.radians(self.rng.uniform(-8.0, 8.0)))
                now = end + self.rng.uniform(0.05, 0.5)

    def _sway(self) -> None:
        """Slow sway of standing people, and tremor of the edge while moving."""
        t = np.arange(len(self.roll.value)) / GRID_HZ
        sway = np.radians(self.number("sway_deg"))
        for course, share in ((self.roll, 0.6), (self.pitch, 0.25), (self.track, 0.15)):
            for hz in self.rng.uniform(0.1, 0.5, 2):
                course.value += 0.6 * share * sway * np.sin(2.0 * np.pi * (hz * t + self.rng.random()))
        moving = Course(len(t))
        moving.add_step(self.plan.start_s, self.plan.start_s + 0.6, 1.0)
        moving.add_step(self.plan.brake_s[1] - 0.5, self.plan.brake_s[1] + 0.2, -1.0)
        size = np.radians(self.number("edge_tremor_deg"))
        for course, share in ((self.roll, 0.5), (self.pitch, 0.25), (self.track, 0.2)):
            for hz in self.rng.uniform(1.5, 8.0, 2):
                course.value += (
                    share * size * moving.value * np.sin(2.0 * np.pi * (hz * t + self.rng.random()))
                )
