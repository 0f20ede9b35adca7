"""Only like with like: which sessions may stand in one course, and what else changed between them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

COMPARABLE: Final = "comparable"
APART: Final = "shown apart"
REFUSED: Final = "refused"

# Rates and bandwidths farther apart than this factor move the instants found (tests/benchmark/accuracy.py: 100 to
# 200 Hz against 200 to 1000 Hz); where the border lies is common practice, no source.
LIKE_FACTOR: Final = 1.5

SAME_QUESTION: Final = {
    "metric": "metric",
    "definition": "number of the metric's definition",
    "phase": "phase",
    "protocol": "protocol",
    "surface": "surface",
}
SAME_MEASUREMENT: Final = {"mount": "mount", "calibration": "state of calibration"}
LIKE_MEASUREMENT: Final = {"rate_hz": "sampling rate", "bandwidth_hz": "bandwidth of the sensors"}
# Conditions that are known to move a result come first; any other that was noted follows by its name.
KNOWN_CONDITIONS: Final = {
    "skates": "skates",
    "sharpening": "sharpening",
    "height_cm": "growth, height [cm]",
    "mass_kg": "growth, mass [kg]",
    "start_behind_m": "start behind the first gate [m]",
}


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms a metric of a session was measured; None where not known.

    Parameters
    ----------
    metric, phase, protocol, surface : str
    definition : int
        Number of the metric's definition.
    rate_hz, bandwidth_hz : float or None
        Of the slowest sensor used.
    mount : str or None
        Where the sensors sat: holder or boot.
    calibration : str or None
        State of the sensors: calibrated, not calibrated.
    conditions : mapping
        Whatever was noted: skates, sharpening, height_cm, mass_kg, start_behind_m and others.
    """

    metric: str
    definition: int
    phase: str
    protocol: str
    surface: str
    rate_hz: float | None = None
    bandwidth_hz: float | None = None
    mount: str | None = None
    calibration: str | None = None
    conditions: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Likeness:
    """What may be done with two sessions: `comparable`, `shown apart` or `refused`, why, and what else changed."""

    word: str
    reasons: tuple[str, ...]
    changed: tuple[str, ...]


def compare_terms(one: Terms, other: Terms) -> Likeness:
    """Say whether two sessions may be compared.

    Returns
    -------
    Likeness
        Refused where they answer another question (metric, definition, phase, protocol, surface), shown apart where
        they were measured otherwise (rate, bandwidth, mount, calibration) or only one says how. Changed
        conditions do not part sessions; they are to be printed beside a change.
    """
    refused = [_differ(name, one, other, word) for word, name in SAME_QUESTION.items()]
    apart = [_differ(name, one, other, word) for word, name in SAME_MEASUREMENT.items()]
    apart += [
        _unlike(name, getattr(one, word), getattr(other, word)) for word, name in LIKE_MEASUREMENT.items()
    ]
    reasons = tuple(reason for reason in refused + apart if reason)
    word = REFUSED if any(refused) else APART if any(apart) else COMPARABLE
    return Likeness(word, reasons, changed_conditions(one.conditions, other.conditions))


def changed_conditions(before: Mapping[str, object], after: Mapping[str, object]) -> tuple[str, ...]:
    """Return a phrase for every condition noted otherwise, or in one of the sessions only."""
    others = sorted((before.keys() | after.keys()) - KNOWN_CONDITIONS.keys())
    names = KNOWN_CONDITIONS | {key: key.replace("_", " ") for key in others}
    return tuple(
        f"{name}: {_said(before.get(key))}, then {_said(after.get(key))}"
        for key, name in names.items()
        if before.get(key) != after.get(key)
    )


def courses(sessions: Sequence[Terms]) -> list[list[int]]:
    """Part sessions into courses of their like.

    Parameters
    ----------
    sessions : sequence of Terms
        In order of time.

    Returns
    -------
    list of list of int
        Places in `sessions`; each session joins the first course whose every session is comparable with it. The
        course with the last session comes first.
    """
    parts: list[list[int]] = []
    for place, terms in enumerate(sessions):
        for part in parts:
            if all(compare_terms(sessions[k], terms).word == COMPARABLE for k in part):
                part.append(place)
                break
        else:
            parts.append([place])
    return sorted(parts, key=lambda part: -part[-1])


def _differ(name: str, one: Terms, other: Terms, word: str) -> str:
    first, second = getattr(one, word), getattr(other, word)
    return "" if first == second else f"{name}: {_said(first)} and {_said(second)}"


def _unlike(name: str, first: float | None, second: float | None) -> str:
    if first is not None and second is not None:
        if max(first, second) <= LIKE_FACTOR * min(first, second):
            return ""
    elif first is second:
        return ""
    return f"{name}: {_said(first, ' Hz')} and {_said(second, ' Hz')}"


def _said(value: object, unit: str = "") -> str:
    if value is None:
        return "not known"
    return f"{value:g}{unit}" if isinstance(value, float) else f"{value}{unit}"
