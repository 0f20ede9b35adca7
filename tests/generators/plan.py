"""Calendar of a trial: when each blade meets and leaves the ice, from an autoregressive rhythm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.shapes import step

if TYPE_CHECKING:
    from tests.generators.factors import Factors
    from tests.generators.shapes import Array

SHORTEST_SWING_S = 0.17
SHORTEST_CONTACT_S = 0.14


@dataclass(frozen=True)
class Stance:
    """One contact: true times [s]; `order` counts the blade-offs of the run from 0 (the first lift).

    `on_s` is -inf for the two standing contacts, `off_s` is inf for the two that glide at the end.
    """

    side: str
    order: int
    on_s: float
    off_s: float


@dataclass(frozen=True)
class Plan:
    """Calendar of one trial on the true clock [s]."""

    stances: tuple[Stance, ...]
    shocks_s: tuple[float, float, float, float]
    quiet_s: tuple[float, float]
    start_s: float  # the body begins to move
    pushes_end_s: float  # last blade-off
    brake_s: tuple[float, float]
    end_s: float
    log_s: tuple[float, float]
    shuffles_s: tuple[tuple[float, float], ...]  # feet lifted and turned on the spot
    stumble: int  # order of the contact with the stumble, -1 for none

    def of_side(self, side: str) -> list[Stance]:
        """Contacts of one foot in order of time."""
        return [s for s in self.stances if s.side == side]


def _step_times(f: Factors, rng: np.random.Generator) -> Array:
    """Time from each blade-off to the next one of the other foot [s], shape (pushes,)."""
    count = int(f["pushes"])
    along = (np.arange(count) + 0.5) / count
    turn = float(f["stride_turn"])
    late = step(np.where(along < turn, 0.5 * along / turn, 0.5 + 0.5 * (along - turn) / (1.0 - turn)))
    base = np.log(f["stride_start_s"]) * (1.0 - late) + np.log(f["stride_end_s"]) * late
    memory, sd = float(f["stride_memory"]), float(f["stride_sd"])
    course = np.empty(count)
    state = rng.normal() * sd
    for k in range(count):
        course[k] = state
        state = memory * state + np.sqrt(1.0 - memory**2) * sd * rng.normal()
    odd = rng.random(count) < float(f["odd_push_share"])
    course += np.where(odd, rng.choice([-1.0, 1.0], count) * rng.uniform(0.15, 0.35, count), 0.0)
    uneven = 0.5 * float(f["difference_step"]) * (1.0 - 2.0 * (np.arange(count) % 2))
    steps: Array = 0.5 * np.clip(np.exp(base + course + uneven), 0.42, 1.45)
    return steps


def _contacts(f: Factors, first_off_s: float, rng: np.random.Generator) -> tuple[Stance, ...]:
    steps = _step_times(f, rng)
    count = len(steps)
    along = np.linspace(0.0, 1.0, count)
    share = float(f["double_support_start"]) * (1.0 - along) + float(f["double_support_end"]) * along
    share = share + float(f["double_support_sd"]) * rng.normal(size=count)
    share = share + float(f["difference_contact"]) * (1.0 - 2.0 * (np.arange(count) % 2))
    both = 2.0 * steps * np.clip(share, -0.12, 0.27)
    both = np.minimum(both, steps - SHORTEST_SWING_S)
    following = np.append(steps[1:], 1.0)
    both = np.maximum(both, SHORTEST_CONTACT_S - following)
    offs = np.concatenate([[first_off_s], first_off_s + np.cumsum(steps)])
    sides = ("left", "right") if f["first_foot"] == "left" else ("right", "left")
    last_on = offs[-1] + rng.uniform(0.3, 0.6)
    ons = np.concatenate([[-np.inf, -np.inf], offs[1:] - both, [last_on]])
    offs = np.concatenate([offs, [np.inf, np.inf]])
    return tuple(Stance(sides[k % 2], k, float(ons[k]), float(offs[k])) for k in range(count + 3))


def make_plan(f: Factors, rng: np.random.Generator) -> Plan:
    """Draw the calendar of one trial."""
    now = rng.uniform(0.6, 1.5)
    shuffles = []
    early = rng.random() < 0.4  # before the shocks rather than after
    lasts = rng.uniform(1.5, 2.5)
    if f["shuffle"] and early:
        shuffles.append((now, now + lasts))
        now += lasts + 0.7
    first = now + 0.5
    second = first + rng.uniform(0.7, 1.3)
    now = second + rng.uniform(0.6, 1.2)
    if f["shuffle"] and not early:
        shuffles.append((now, now + lasts))
        now += lasts + 0.4
    quiet = (now, now + float(f["quiet_s"]))
    stances = _contacts(f, quiet[1] + float(f["hold_still_s"]), rng)
    last_on = stances[-1].on_s
    glide_end = last_on + float(f["glide_s"])
    brake = (glide_end, glide_end + float(f["stop_s"]))
    rest = brake[1] + rng.uniform(0.5, 1.0)
    if f["steps_after_stop"]:
        shuffles.append((rest - 0.2, rest + 1.3))
        rest += 1.5
    rest += float(f["end_quiet_s"])
    third = rest + 0.3
    fourth = third + rng.uniform(0.7, 1.3)
    end = fourth + rng.uniform(1.0, 2.0)
    log = (0.15, end - 0.15)
    if f["log_cut"] == "late_begin":
        log = (quiet[0] + rng.uniform(0.0, 0.15), log[1])
    if f["log_cut"] == "early_end":
        log = (log[0], last_on + rng.uniform(0.5, 1.0) * float(f["glide_s"]))
    stumble = int(rng.integers(3, int(f["pushes"]) - 1)) if f["stumble"] else -1
    return Plan(
        stances,
        (first, second, third, fourth),
        quiet,
        quiet[1],
        stances[-3].off_s,
        brake,
        end,
        log,
        tuple(shuffles),
        stumble,
    )
