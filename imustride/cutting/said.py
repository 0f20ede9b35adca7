"""Runs whose times the list says, beside those found in the log."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from imustride.constants import SKATES
from imustride.cutting.finding import Candidate

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def with_said(
    found: Sequence[Candidate], spans_s: Mapping[int, tuple[float, float]], same_s: float
) -> tuple[list[Candidate], dict[int, int], list[str]]:
    """Put the runs whose times the list says beside those found, where its lines do not contradict each other.

    Parameters
    ----------
    found : sequence of Candidate
        In order of time.
    spans_s : mapping of line to (float, float)
        What the list says, on the clock of the first skate [s]; in order of the list's times.
    same_s : float
        So much may two of them overlap [s].

    Returns
    -------
    found : list of Candidate
        In order of time, those said among them.
    said : dict of line to int
        Its place there; in the same order as the lines, so that all can be matched.
    problems : list of str
        One line for each two lines that contradict each other; what they say is not taken.
    """
    spans_s = dict(spans_s)
    problems: list[str] = []
    while True:
        ordered, said = _put(found, spans_s)
        wrong = [
            (one, other)
            for one, other in pairwise(spans_s)
            if spans_s[other][0] < spans_s[one][1] - same_s or said[other] <= said[one]
        ]
        if not wrong:
            return ordered, said, problems
        problems += [_contradiction((one, spans_s[one]), (other, spans_s[other])) for one, other in wrong]
        for line in {line for pair in wrong for line in pair}:
            del spans_s[line]


def _put(
    found: Sequence[Candidate], spans_s: Mapping[int, tuple[float, float]]
) -> tuple[list[Candidate], dict[int, int]]:
    """Put what lines say beside what was found, and in its place; also where that of every line is."""
    rest = list(found)
    said: dict[int, Candidate] = {}
    for line, (from_s, to_s) in spans_s.items():
        inside = [one for one in rest if from_s <= one.start_s <= to_s]
        rest = [one for one in rest if one not in inside]
        said[line] = (
            replace(inside[0], from_s=from_s, to_s=to_s)
            if inside
            else Candidate(from_s, to_s, from_s, to_s, 0.0, 0.0, (), 0, SKATES)
        )
    ordered = sorted([*rest, *said.values()], key=lambda one: one.start_s)
    return ordered, {line: ordered.index(one) for line, one in said.items()}


def _contradiction(one: tuple[int, tuple[float, float]], other: tuple[int, tuple[float, float]]) -> str:
    """Say how two lines, in order of the list's times, contradict each other."""
    (first, (from_s, to_s)), (second, (other_from_s, other_to_s)) = one, other
    is_before = other_to_s <= from_s
    how = "run against the order of their times" if is_before else "overlap"
    return (
        f"lines {first} and {second}: their start_s and end_s ({from_s:g} to {to_s:g} and {other_from_s:g} to "
        f"{other_to_s:g}) {how}, and are not taken; wanted a part of the log for each, in order of time; correct them"
    )
