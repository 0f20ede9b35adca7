"""Lines of the list that are no runs: standing and movements at the boards, for the sensors of the body."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.constants import SKATES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from imustride.preparing.roster import Row

MOVEMENTS = "movements"
# Sensors whose angles need them; those of pelvis and head are measured without.
NEED_THEM = ("shank", "thigh", "trunk", "wrist")


def is_movements(row: Row) -> bool:
    """Tell whether a line is no run: its run is called movements, or movements with something behind it."""
    return row.run.casefold().startswith(MOVEMENTS)


def kind_of(row: Row) -> str:
    """Return the kind of a ``[[movements]]`` entry: all of them in one recording."""
    return f"all{row.run[len(MOVEMENTS) :]}"


def at_boards(rows: Sequence[Row], sessions: Mapping[str, Sequence[Row]]) -> dict[str, list[Row]]:
    """Return the lines of movements that belong to each session: same athlete and day, the same sensors."""
    moved = [row for row in rows if is_movements(row)]
    return {name: [row for row in moved if _belongs(row, runs)] for name, runs in sessions.items()}


def movement_problems(name: str, rows: Sequence[Row], by_session: Mapping[str, Sequence[Row]]) -> list[str]:
    """Name the lines of movements that belong to no session, or hold what only a run has."""
    found = []
    used = {row.line for mine in by_session.values() for row in mine}
    for row in rows:
        where = f"{name}, line {row.line}"
        if not is_movements(row):
            continue
        if row.line not in used:
            found.append(
                f"{where}: {row.run} of {row.athlete}, but no run of that day with the same sensors; "
                "correct the sensors, or remove the line"
            )
        if row.gates:
            found.append(f"{where}: gates for {row.run}, which passes none; remove them, or name the run")
    return found


def without_movements(
    sessions: Mapping[str, Sequence[Row]], by_session: Mapping[str, Sequence[Row]]
) -> list[str]:
    """Say for which sessions movements are missing, and what that costs."""
    found = []
    for name, runs in sessions.items():
        places = dict.fromkeys(place for row in runs for place in row.devices)
        needing = [place for place in places if place.rpartition("_")[2] in NEED_THEM]
        if needing and not by_session[name]:
            found.append(
                f"{name}: sensors at {', '.join(needing)}, but no line with run {MOVEMENTS!r}: without standing and squats "
                "angles of legs, trunk and arms stay empty"
            )
    return found


def is_on_body(place: str) -> bool:
    """Tell whether a place is not a skate."""
    return place not in SKATES


def _belongs(row: Row, runs: Sequence[Row]) -> bool:
    first = runs[0]
    worn = {place: device for one in runs for place, device in one.devices.items()}
    same_day = (first.athlete, first.begin.date()) == (row.athlete, row.begin.date())
    return same_day and all(worn.get(place, device) == device for place, device in row.devices.items())
