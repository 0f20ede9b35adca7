"""When everything happens in a run: shocks, stances, contacts, glide and stop. True time, from 0."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from imustride.simulation.drawing import SHORTEST_CONTACT_S, SHORTEST_SWING_S, sprint_time_s

if TYPE_CHECKING:
    from imustride.simulation.drawing import Draw
    from imustride.simulation.parameters import Skater

SIDES = ("left", "right")
SHORTEST_STRIDE_S = 0.42
FIRST_SWING_S = 0.32  # of the foot that pushed standing and was left far behind
LONGEST_STANDING_PUSH_M = 0.65  # the body cannot go further ahead of a foot that stands
FEWEST_PUSHES, MOST_PUSHES = 11, 24


@dataclass(frozen=True, slots=True)
class Contact:
    """One time a blade is on the ice.

    `order` counts the pushes of both feet from 0 (the foot that lifts first); -1 where the contact
    does not end in a push. The first contact of a foot begins with the log.
    """

    side: str
    kind: Literal["stance", "standing", "push", "glide"]
    order: int
    on_s: float
    off_s: float


@dataclass(frozen=True, slots=True)
class Plan:
    """Times of a run [s]; `contacts` by side, in order."""

    contacts: dict[str, tuple[Contact, ...]]
    shocks_s: tuple[float, ...]
    stance_s: tuple[float, float]
    body_start_s: float
    push_end_s: float
    stop_s: tuple[float, float]
    end_s: float
    stumble_order: int

    @property
    def pushes(self) -> list[Contact]:
        """Contacts that end in a push, of both feet, by order."""
        both = [contact for side in SIDES for contact in self.contacts[side] if contact.order >= 0]
        return sorted(both, key=lambda contact: contact.order)


def plan(draw: Draw) -> Plan:
    """Lay out a run."""
    rng, conditions = draw.stream("steps"), draw.conditions
    shocks = [conditions.lead_in_s + 0.5, conditions.lead_in_s + 0.5 + float(rng.uniform(0.6, 1.0))]
    shuffle_s = shocks[-1] + 0.7
    shuffle = _shuffle(rng, shuffle_s) if conditions.shuffle else []
    stance_from_s = (shuffle[-1][2] if shuffle else shocks[-1]) + 0.6
    stance_s = (stance_from_s, stance_from_s + conditions.stance_s)
    first_off_s = stance_s[1] + float(rng.uniform(0.35, 0.7))
    body_start_s = first_off_s - float(rng.uniform(0.05, 0.25))
    sequence, stumble_order = _sequence(rng, draw, first_off_s, body_start_s)
    push_end_s = sequence[-3][1]
    glide_from_s = sequence[-1][0]
    stop_from_s, stop_to_s = _stop(draw, push_end_s, glide_from_s, body_start_s)
    quiet_to_s = stop_to_s + conditions.quiet_s
    shocks += [quiet_to_s + 0.4, quiet_to_s + 0.4 + float(rng.uniform(0.6, 1.0))]
    end_s = shocks[-1] + float(rng.uniform(0.7, 1.5))
    contacts = _contacts(draw.skater.first_lift, shuffle, sequence, end_s)
    return Plan(
        contacts,
        tuple(shocks),
        stance_s,
        body_start_s,
        push_end_s,
        (stop_from_s, stop_to_s),
        end_s,
        stumble_order,
    )


def push_count(draw: Draw) -> int:
    """Return how many times both feet together push off."""
    skater = draw.skater
    time_s = sprint_time_s(skater.peak_speed_m_s, skater.speed_rise_s) + draw.conditions.extra_time_s
    return int(np.clip(round(2 * time_s / skater.stride_time_s), FEWEST_PUSHES, MOST_PUSHES))


def _sequence(
    rng: np.random.Generator, draw: Draw, first_off_s: float, body_start_s: float
) -> tuple[list[tuple[float, float]], int]:
    """Return (on, off) of all contacts from the standing ones to the two of the glide."""
    skater, count = draw.skater, push_count(draw)
    stumble_order = int(rng.integers(5, count - 3)) if draw.conditions.stumble_ratio > 0 else -1
    contact_s, shared_s = _durations(rng, skater, count)
    _stumble(contact_s, shared_s, stumble_order, draw.conditions.stumble_ratio)
    shared_s[1] = min(shared_s[1], 0.1)
    standing_s = min(contact_s[1], _time_over_s(skater, LONGEST_STANDING_PUSH_M) + body_start_s - first_off_s)
    standing_s = max(standing_s, SHORTEST_SWING_S + shared_s[1])
    sequence = [(0.0, first_off_s), (0.0, first_off_s + standing_s)]
    contact_s[2] = max(contact_s[2], FIRST_SWING_S + shared_s[1] + shared_s[2])
    for order in range(2, count):
        on_s = sequence[-1][1] - shared_s[order - 1]
        on_s = max(on_s, sequence[-2][1] + SHORTEST_SWING_S - 0.02)
        sequence.append((on_s, on_s + contact_s[order]))
    last_off_s = sequence[-1][1]
    sequence.append((max(last_off_s - shared_s[-1], sequence[-2][1] + SHORTEST_SWING_S), np.inf))
    sequence.append((last_off_s + float(rng.uniform(0.3, 0.7)), np.inf))
    return sequence, stumble_order


def _time_over_s(skater: Skater, way_m: float) -> float:
    """Return how long the body takes for its first metres."""
    time_s = np.linspace(0, 2, 401)
    path = skater.peak_speed_m_s * (
        time_s - skater.speed_rise_s * (1 - np.exp(-time_s / skater.speed_rise_s))
    )
    return float(np.interp(way_m, path, time_s))


def _durations(rng: np.random.Generator, skater: Skater, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return contact time and following double support of every push, with random variation."""
    progress = np.linspace(0, 1, count)
    stride_s = skater.stride_time_s * (1 + skater.stride_growth_ratio * (progress - 0.5))
    stride_s *= 1 - skater.quick_start_ratio * np.exp(-np.arange(count) / 2)
    stride_s = np.maximum(stride_s, SHORTEST_STRIDE_S)
    first, last = skater.double_support_first_ratio, skater.double_support_last_ratio
    shared = first + (last - first) * np.minimum(progress * 1.8, 1) ** 0.8
    foot = np.where(np.arange(count) % 2 == (0 if skater.first_lift == "right" else 1), 1.0, -1.0)
    contact_s = (0.5 + shared) * stride_s * (1 + foot * skater.contact_asymmetry_percent / 200)
    contact_s *= 1 + skater.variation_ratio * rng.normal(size=count)
    shared_s = shared * stride_s + 0.4 * skater.variation_ratio * stride_s * rng.normal(size=count)
    return np.maximum(contact_s, SHORTEST_CONTACT_S * 0.9), shared_s


def _stumble(contact_s: np.ndarray, shared_s: np.ndarray, order: int, ratio: float) -> None:
    """Cut one contact short, catch the fall with a long next one on both feet (in place)."""
    if order < 0:
        return
    contact_s[order] *= 1 - 0.4 * ratio
    contact_s[order + 1] *= 1 + 0.8 * ratio
    shared_s[order] += 0.1 * ratio


def _stop(draw: Draw, push_end_s: float, glide_from_s: float, body_start_s: float) -> tuple[float, float]:
    """Return when braking begins and when the skater stands."""
    skater, conditions = draw.skater, draw.conditions
    speed = skater.peak_speed_m_s * (1 - np.exp(-(push_end_s - body_start_s) / skater.speed_rise_s))
    slowing = glide_deceleration_m_s2(conditions.plough_deg)
    latest_s = push_end_s + (speed - 1.5) / slowing
    from_s = max(min(glide_from_s + conditions.glide_s, latest_s), glide_from_s + 0.5)
    left = speed - slowing * (from_s - push_end_s)
    return float(from_s), float(from_s + left / conditions.stop_m_s2 + 0.3)


def glide_deceleration_m_s2(plough_deg: float) -> float:
    """Slowing of the two-foot glide: friction and air, more in a snow-plough."""
    return 0.15 + 0.06 * plough_deg


def _shuffle(rng: np.random.Generator, from_s: float) -> list[tuple[str, float, float]]:
    """Return (side, off, on) of small steps on the spot."""
    steps, time_s = [], from_s
    side = int(rng.integers(2))
    for _ in range(int(rng.integers(2, 6))):
        on_s = time_s + float(rng.uniform(0.2, 0.4))
        steps.append((SIDES[side], time_s, on_s))
        time_s, side = on_s + float(rng.uniform(0.1, 0.4)), 1 - side
    return steps


def _contacts(
    first_lift: str,
    shuffle: list[tuple[str, float, float]],
    sequence: list[tuple[float, float]],
    end_s: float,
) -> dict[str, tuple[Contact, ...]]:
    """Give every contact to its foot, shuffle first."""
    other = "right" if first_lift == "left" else "left"
    contacts: dict[str, list[Contact]] = {side: [] for side in SIDES}
    since = dict.fromkeys(SIDES, 0.0)
    for side, off_s, on_s in shuffle:
        contacts[side].append(Contact(side, "stance", -1, since[side], off_s))
        since[side] = on_s
    for order, (on_s, off_s) in enumerate(sequence):
        side = (first_lift, other)[order % 2]
        if np.isinf(off_s):
            contacts[side].append(Contact(side, "glide", -1, on_s, end_s))
        elif order < 2:
            contacts[side].append(Contact(side, "standing", order, since[side], off_s))
        else:
            contacts[side].append(Contact(side, "push", order, on_s, off_s))
    return {side: tuple(found) for side, found in contacts.items()}
