"""What cannot be twice: a code, a run, an athlete or a sensor at the same time."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from imustride.preparing.roster import Row


def double_problems(name: str, rows: Sequence[Row]) -> list[str]:
    """Return a line for each double use.

    Parameters
    ----------
    name : str
        Of the list.
    rows : sequence of Row
        In order of time, all runs named.
    """
    return [
        *_codes(name, rows),
        *_runs(name, rows),
        *_places(name, rows),
        *_at_once(name, rows),
    ]


def _codes(name: str, rows: Sequence[Row]) -> Iterator[str]:
    """Two people with one code show by what the list says of them; codes must differ by more than case."""
    lengths: dict[tuple[str, str], dict[float, Row]] = {}
    spellings: dict[str, dict[str, Row]] = {}
    consents: dict[str, dict[str, Row]] = {}
    for row in rows:
        spellings.setdefault(row.athlete.casefold(), {}).setdefault(row.athlete, row)
        if row.consent is not None:
            consents.setdefault(row.athlete, {}).setdefault(row.consent, row)
        for column, length_m in row.body.items():
            lengths.setdefault((row.athlete, column), {}).setdefault(length_m, row)
    for found in spellings.values():
        if len(found) > 1:
            lines = _listed(row.line for row in found.values())
            yield f"{name}, lines {lines}: codes {' and '.join(found)} differ by case only; wanted one code a person"
    for code, given in consents.items():
        if len(given) > 1:
            lines = _listed(row.line for row in given.values())
            yield (
                f"{name}, lines {lines}: code {code} has consent by {' and '.join(given)}; wanted one; are these two "
                "people with one code?"
            )
    for (code, column), measured in lengths.items():
        if len(measured) > 1:
            lines = _listed(row.line for row in measured.values())
            told = " and ".join(f"{length_m:g}" for length_m in measured)
            yield f"{name}, lines {lines}: code {code} has {column} {told}; wanted one"


def _runs(name: str, rows: Sequence[Row]) -> Iterator[str]:
    first: dict[tuple[object, ...], Row] = {}
    for row in rows:
        key = (row.athlete.casefold(), row.begin.date(), row.run.casefold())
        if key in first:
            yield (
                f"{name}, lines {first[key].line} and {row.line}: {row.run} of {row.athlete} is there twice; "
                "wanted another name; rename or remove one"
            )
        else:
            first[key] = row


def _places(name: str, rows: Sequence[Row]) -> Iterator[str]:
    for row in rows:
        worn: dict[str, list[str]] = {}
        for place, device in row.devices.items():
            worn.setdefault(device, []).append(place)
        for device, places in worn.items():
            if len(places) > 1:
                yield f"{name}, line {row.line}: device {device} at {' and '.join(places)}; wanted one place; correct it"


def _at_once(name: str, rows: Sequence[Row]) -> Iterator[str]:
    """Runs that overlap in time and share an athlete or a sensor."""
    users: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        users.setdefault(("athlete", row.athlete), []).append(row)
        for device in dict.fromkeys(row.devices.values()):
            users.setdefault(("device", device), []).append(row)
    for (what, user), mine in users.items():
        for before, after in pairwise(sorted(mine, key=lambda row: row.begin)):
            told_before = what == "device" and before.athlete == after.athlete
            if after.begin < before.end and not told_before:
                yield (
                    f"{name}, lines {before.line} and {after.line}: {what} {user} is used twice at "
                    f"{after.begin:%H:%M} ({before.athlete} {before.run}, {after.athlete} {after.run}); "
                    "correct the time, or the device"
                )


def _listed(lines: Iterator[int]) -> str:
    return " and ".join(str(line) for line in sorted(lines))
