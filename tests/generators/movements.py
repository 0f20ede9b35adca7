"""The known movements at the boards: stand, two squats, two turns of the trunk, two swings of the arms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.build import OUT, SIDES, Build, Leg, bend, span_m
from tests.generators.shapes import GRID_HZ, STEP_KINDS, Course
from tests.generators.turns import about
from tests.generators.upper import Upper, assemble
from tests.generators.worn import Segment

if TYPE_CHECKING:
    from tests.generators.build import Habits
    from tests.generators.shapes import Array

NAMES = ("depth", "hips", "shoulders", "unlocked", "left_arm", "right_arm", "active")


@dataclass(frozen=True, eq=False)
class Guided:
    """The recording on the fine grid: when each movement lasts [s], skates (raw segment frames), body."""

    spans_s: dict[str, tuple[float, float]]
    end_s: float
    skates: dict[str, Segment]
    legs: dict[str, Leg]
    pelvis_m: Array
    pelvis: Array
    upper: Upper
    flexed_rad: dict[str, Array]
    active: Array


class Script:
    """Courses of the recording, drawn one movement after the other."""

    def __init__(self, h: Habits, rng: np.random.Generator) -> None:
        self.h, self.rng, self.now = h, rng, 0.0
        self.courses = {name: Course(int(60.0 * GRID_HZ)) for name in NAMES}
        self.level = dict.fromkeys(NAMES, 0.0)
        self.spans: dict[str, tuple[float, float]] = {}

    def go(self, name: str, to: float, start_s: float, lasts_s: float) -> None:
        """Bring a course to a level between two times."""
        kind = STEP_KINDS[int(self.rng.integers(len(STEP_KINDS)))]
        skew = self.rng.uniform(-0.3, 0.3)
        self.courses[name].add_step(start_s, start_s + lasts_s, to - self.level[name], kind, skew)
        self.level[name] = to

    def pause(self, low_s: float, high_s: float) -> None:
        """Stand straight for a while."""
        self.now += self.rng.uniform(low_s, high_s)

    def play(self) -> float:
        """Draw everything; return the end [s]."""
        self.pause(3.7, 5.0)
        self.spans["stand"] = (0.0, self.now)
        deep = float(self.rng.uniform(0.88, 1.0))
        for name, draw in (("squats", self._squat), ("turns", self._turn), ("arms", self._arms)):
            start = self.now
            self.go("active", 1.0, start - 0.1, 0.4)
            draw(deep)
            self.pause(0.3, 0.9)
            draw(deep * self.rng.uniform(1.06, 1.16))  # the second one goes further
            self.go("active", 0.0, self.now - 0.3, 0.4)
            self.spans[name] = (start, self.now)
            self.pause(1.3, 2.0)
        return self.now

    def _squat(self, far: float) -> None:
        down, hold, up = self.rng.uniform([0.9, 0.1, 0.8], [1.5, 0.5, 1.4])
        self.go("depth", far, self.now, down)
        self.go("depth", 0.0, self.now + down + hold, up)
        self.now += down + hold + up

    def _turn(self, far: float) -> None:
        """To the left, through to the right, back; the hips a little behind the shoulders."""
        self.go("unlocked", 1.0, self.now, 0.5)
        for to in (far, -far * self.rng.uniform(0.85, 1.1), 0.0):
            lasts = self.rng.uniform(0.6, 0.95) * (1.4 if to < 0.0 else 1.0)
            self.go("shoulders", to, self.now, lasts)
            self.go("hips", to * self.rng.uniform(0.9, 1.1), self.now + 0.07, lasts)
            self.now += lasts
        self.go("unlocked", 0.0, self.now - 0.3, 0.45)
        self.now += 0.15

    def _arms(self, far: float) -> None:
        """Both forward, through to behind, back to hanging; the two not quite alike."""
        for to in (far, -0.6 * far * self.rng.uniform(0.8, 1.15), 0.0):
            lasts = self.rng.uniform(0.45, 0.75) * (1.3 if to < 0.0 else 1.0)
            for side in SIDES:
                self.go(f"{side}_arm", to * self.rng.uniform(0.92, 1.08), self.now, lasts)
            self.now += lasts


def guide(h: Habits, build: Build, flat: dict[str, Array], rng: np.random.Generator) -> Guided:
    """Move through the recording.

    Parameters
    ----------
    h, build
    flat : dict
        By side: levelled_from_segment (3, 3) of the skate on its flat blade.
    rng : Generator
    """
    script = Script(h, rng)
    end = script.play()
    n = int(end * GRID_HZ) + 1
    c = {name: course.value[:n] for name, course in script.courses.items()}
    flexed, towards, stand = bend_knees(h, build, c, rng)
    skates = {side: plant(build, side, flat[side], stand[side], c["depth"], rng) for side in SIDES}
    ankles = {side: s.place_m + s.turn @ np.array(build.ankle_m) for side, s in skates.items()}
    yaw = np.radians(rng.uniform(16.0, 28.0)) * c["hips"] + tiny(n, rng)
    back = rng.uniform(0.04, 0.12) * c["depth"]
    place = np.column_stack([-back + 0.1 * tiny(n, rng), 0.01 * c["shoulders"] + 0.1 * tiny(n, rng)])
    high, lists = stand_on_both(build, place, yaw, ankles, flexed)
    tilt = np.radians(rng.uniform(22.0, 34.0)) * c["depth"] + tiny(n, rng)
    pelvis = about(2, yaw) @ about(0, lists) @ about(1, tilt)
    pelvis_m = np.column_stack([place, high])
    legs = {}
    for side in SIDES:
        hip = pelvis_m + OUT[side] * build.hip_half_m * pelvis[:, :, 1]
        legs[side] = bend(build, ankles[side], hip, towards[side] + 0.4 * yaw, flexed[side])
    upper = carry(build, c, pelvis_m, pelvis, rng)
    return Guided(script.spans, end, skates, legs, pelvis_m, pelvis, upper, flexed, c["active"])


def tiny(n: int, rng: np.random.Generator) -> Array:
    """Sway of somebody who stands [rad]."""
    t = np.arange(n) / GRID_HZ
    waves = [np.sin(2.0 * np.pi * (hz * t + rng.random())) for hz in rng.uniform(0.1, 0.6, 3)]
    total: Array = np.radians(0.08) * np.sum(waves, axis=0)
    return total


def bend_knees(
    h: Habits, build: Build, c: dict[str, Array], rng: np.random.Generator
) -> tuple[dict[str, Array], dict[str, Array], dict[str, Array]]:
    """By side: knee flexion (n,), azimuth the knee points to (n,) [rad], ankle under the hip in straight standing (2,).

    What straight standing leaves between shank, thigh and the vertical is in the flexion and under the hip.
    """
    flexed, towards, stand = {}, {}, {}
    for side in SIDES:
        shank, thigh, aside = np.radians(h["straight_error_deg"]) * rng.normal(size=3)
        deep = np.radians(h["squat_flexion_deg"]) * rng.uniform(0.992, 1.008)
        loose = np.radians(rng.uniform(4.0, 8.0))
        flexed[side] = shank - thigh + deep * c["depth"] + loose * c["unlocked"]
        opened = OUT[side] * np.radians(h["squat_turn_deg"]) * rng.uniform(0.9, 1.1)
        towards[side] = opened * (0.75 + 0.25 * c["depth"])
        forward = build.shank_m * np.sin(shank) + build.thigh_m * np.sin(thigh)
        plane = float(towards[side][0])
        outward = build.leg_m * np.sin(aside)
        stand[side] = np.array([
            -forward * np.cos(plane) + outward * np.sin(plane),
            OUT[side] * build.hip_half_m - forward * np.sin(plane) - outward * np.cos(plane),
        ])  # fmt: skip
    return flexed, towards, stand


def plant(build: Build, side: str, flat: Array, ankle: Array, depth: Array, rng: np.random.Generator) -> Segment:  # fmt: skip
    """Skate (raw segment frame) on its flat blade, which gives a little in the squats; its ankle starts where wanted."""
    n = len(depth)
    rolls = np.radians(rng.uniform(-0.8, 0.8)) * depth + 0.5 * tiny(n, rng)
    nods = np.radians(rng.uniform(0.0, 0.7)) * depth + 0.5 * tiny(n, rng)
    toes = OUT[side] * np.radians(rng.uniform(0.0, 14.0))
    turn = about(2, np.full(n, toes)) @ about(1, nods) @ about(0, rolls) @ flat
    middle = ankle - (turn[0] @ np.array(build.ankle_m))[:2]
    return Segment(turn, np.tile(np.append(middle, 0.0), (n, 1)))


def stand_on_both(
    build: Build, place: Array, yaw: Array, ankles: dict[str, Array], flexed: dict[str, Array]
) -> tuple[Array, Array]:
    """Height [m] and list [rad] of the pelvis with which both legs have the length their knees give them.

    Newton's method on two equations at every sample; straight knees are no special case.
    """
    w = build.hip_half_m
    high, lists = np.full(len(yaw), build.leg_m + build.ankle_m[2]), np.zeros(len(yaw))
    for _ in range(8):
        miss, slopes = [], []
        for side in SIDES:
            along = OUT[side] * w * np.column_stack([-np.sin(yaw) * np.cos(lists), np.cos(yaw) * np.cos(lists), np.sin(lists)])  # fmt: skip
            turned = OUT[side] * w * np.column_stack([np.sin(yaw) * np.sin(lists), -np.cos(yaw) * np.sin(lists), np.cos(lists)])  # fmt: skip
            line = np.column_stack([place, high]) + along - ankles[side]
            length = np.linalg.norm(line, axis=1)
            miss.append(length - span_m(build, flexed[side]))
            slopes.append((line[:, 2] / length, np.sum(line * turned, axis=1) / length))
        (a, b), (c, d) = slopes
        det = a * d - b * c
        high = high - (d * miss[0] - b * miss[1]) / det
        lists = lists - (a * miss[1] - c * miss[0]) / det
    return high, lists


def carry(build: Build, c: dict[str, Array], pelvis_m: Array, pelvis: Array, rng: np.random.Generator) -> Upper:  # fmt: skip
    """Trunk, head and arms of the recording."""
    n = len(pelvis_m)
    yaw = np.radians(rng.uniform(35.0, 55.0)) * c["shoulders"] + tiny(n, rng)
    lean = (
        np.radians(rng.uniform(32.0, 46.0)) * c["depth"] + np.radians(rng.uniform(2.0, 5.0)) * c["unlocked"]
    )
    side = np.radians(rng.uniform(-3.0, 3.0)) * c["shoulders"] + tiny(n, rng)
    trunk = about(2, yaw) @ about(1, lean + tiny(n, rng)) @ about(0, side)
    head = about(2, rng.uniform(0.8, 1.1) * yaw) @ about(1, 0.4 * lean + tiny(n, rng)) @ about(0, 0.5 * side)
    forearms, upper_arms = {}, {}
    for k in SIDES:
        swung = c[f"{k}_arm"]
        alpha = np.radians(rng.uniform(40.0, 60.0)) * swung + np.radians(rng.uniform(3.0, 12.0)) * c["depth"]
        beta = -OUT[k] * np.radians(rng.uniform(0.0, 6.0)) * swung**2
        heading = about(2, rng.uniform(0.85, 1.0) * yaw)
        forearms[k] = heading @ about(0, beta + tiny(n, rng)) @ about(1, -alpha + tiny(n, rng))
        upper_arms[k] = -(heading @ about(0, beta) @ about(1, -0.8 * alpha))[:, :, 2]
    return assemble(build, pelvis_m, pelvis, trunk, head, forearms, upper_arms)
