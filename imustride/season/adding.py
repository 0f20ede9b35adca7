"""A session into the store: new, the same as before, or corrected, whole or not at all."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season.consent import add_problem
from imustride.season.migrations import now
from imustride.season.outputs import note_output
from imustride.season.packing import layout_number, pack_pushes, records, to_json
from imustride.season.people import find_athlete
from imustride.season.tables import athletes, inputs, pushes, runs, sessions, symmetry

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from imustride.season.store import Store

OF_RUNS = ("run", "usable", "reason")
OF_SYMMETRY = ("phase", "metric")


@dataclass(frozen=True, slots=True)
class Input:
    """A file that an analysis read: what it was, and where it was seen (empty: nobody said)."""

    kind: Literal["session", "log", "gates", "calibration"]
    name: str
    sha256: str
    place: str = ""
    archived: bool = False


@dataclass(frozen=True, eq=False, slots=True)
class NewSession:
    """What `add_session` takes: the analysed session as its results folder holds it.

    `facts` are those of ``provenance.json`` (athlete, date, name, surface, protocol, consent, conditions, sensors);
    `tables` holds ``pushes``, ``runs`` and ``symmetry``; `digests` the fingerprints of their files.
    """

    facts: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]
    digests: Mapping[str, str]
    definitions: Mapping[str, int]
    settings: Mapping[str, Any]
    product_version: str
    inputs: Sequence[Input]
    results: Path


@dataclass(frozen=True, slots=True)
class Added:
    """What adding a session did."""

    status: Literal["added", "unchanged", "corrected"]
    athlete: str
    date: str
    name: str
    revision: int
    runs: int
    pushes: int
    notes: tuple[str, ...] = field(default=())


def fingerprint(new: NewSession) -> str:
    """Return the fingerprint of everything that is stored of a session, but not of where it was seen."""
    content = {
        "facts": new.facts,
        "digests": new.digests,
        "definitions": new.definitions,
        "settings": new.settings,
        "product_version": new.product_version,
        "inputs": sorted([entry.kind, entry.name, entry.sha256] for entry in new.inputs),
    }
    return hashlib.sha256(to_json(content).encode()).hexdigest()


def add_session(
    store: Store, new: NewSession, *, today: dt.date | None = None, dry_run: bool = False
) -> Added:
    """Add a session; the same input changes nothing, a corrected one takes its place and keeps the former as history.

    A session is the same as an earlier one if athlete, date and name of the session folder are.

    Parameters
    ----------
    store : Store
    new : NewSession
    today : date, optional
    dry_run : bool
        Check and tell, keep nothing.

    Raises
    ------
    StoreError
        If it is dated in the future, nobody consented, or the athlete's code is another one's by the birth year.
    """
    facts = new.facts
    today = today or dt.datetime.now().astimezone().date()
    if dt.date.fromisoformat(facts["date"]) > today:
        message = (
            f"{new.results}: the session is dated {facts['date']}, today is {today}; correct the date in session.toml "
            "(or this computer's clock) and analyse it again"
        )
        raise StoreError(message)
    with store.writing(keep=not dry_run) as connection:
        athlete = find_athlete(connection, facts["athlete"], facts.get("birth_year"))
        problem = add_problem(connection, athlete, facts.get("consent"), today)
        if problem:
            message = f"{new.results}: {facts['athlete']}: {problem}"
            raise StoreError(message)
        return _put(connection, athlete, new)


def _put(connection: sa.Connection, athlete: int, new: NewSession) -> Added:
    facts, content = new.facts, fingerprint(new)
    same = (
        (sessions.c.athlete_id == athlete)
        & (sessions.c.date == facts["date"])
        & (sessions.c.name == facts["name"])
    )
    kept = connection.execute(
        sa.select(sessions.c.id, sessions.c.revision, sessions.c.content, sessions.c.superseded_at)
        .where(same)
        .order_by(sessions.c.revision.desc())
    ).all()
    current = next((row for row in kept if row.superseded_at is None), None)
    note_output(connection, new.results, "results", [athlete])
    sizes = (len(new.tables["runs"]), len(new.tables["pushes"]))
    named = (facts["athlete"], facts["date"], facts["name"])
    if current is not None and current.content == content:
        _note_places(connection, current.id, new.inputs)
        return Added("unchanged", *named, current.revision, *sizes)
    if current is not None:
        superseded = {"superseded_at": now()}
        connection.execute(sessions.update().where(sessions.c.id == current.id).values(superseded))
    revision = kept[0].revision + 1 if kept else 1
    session = insert_session(connection, athlete, new, content, revision)
    status: Literal["added", "corrected"] = "added" if current is None else "corrected"
    return Added(status, *named, revision, *sizes, tuple(_shared(connection, session, new)))


def insert_session(
    connection: sa.Connection, athlete: int, new: NewSession, content: str, revision: int
) -> int:
    """Put in the rows of a session; return its number. Whoever calls this has made room for it."""
    facts, settings = new.facts, to_json(new.settings)
    row = {
        "athlete_id": athlete,
        "date": facts["date"],
        "name": facts["name"],
        "revision": revision,
        "added_at": now(),
        "content": content,
        "runs": len(new.tables["runs"]),
        "protocol": facts["protocol"],
        "surface": facts["surface"],
        "conditions": to_json(facts["conditions"]),
        "sensors": to_json(facts["sensors"]),
        "definitions": to_json(new.definitions),
        "settings": settings,
        "settings_digest": hashlib.sha256(settings.encode()).hexdigest(),
        "product_version": new.product_version,
    }
    session = int(connection.execute(sessions.insert().returning(sessions.c.id), row).scalar_one())
    rows = [
        {
            "session_id": session,
            "kind": entry.kind,
            "name": entry.name,
            "sha256": entry.sha256,
            "place": entry.place or None,
            "archived": int(entry.archived),
        }
        for entry in new.inputs
    ]
    if rows:
        connection.execute(inputs.insert(), rows)
    _insert_runs(connection, session, new.tables)
    _insert_symmetry(connection, session, new.tables["symmetry"])
    return session


def _insert_runs(connection: sa.Connection, session: int, tables: Mapping[str, pd.DataFrame]) -> None:
    table = tables["runs"]
    held, rows = pack_pushes(tables["pushes"])
    layout = layout_number(connection, held)
    of_run: dict[str, list[dict[str, Any]]] = {name: [] for name in table["run"]}
    for name, row in zip(tables["pushes"]["run"], rows, strict=True):
        of_run[name].append(row)
    for place, (name, usable, reason, record) in enumerate(
        zip(table["run"], table["usable"], table["reason"], records(table, OF_RUNS), strict=True)
    ):
        row = {
            "session_id": session,
            "place": place,
            "name": name,
            "pushes": len(of_run[name]),
            "usable": int(usable),
            "reason": reason,
            "layout_id": layout,
            "record": record,
        }
        run = connection.execute(runs.insert().returning(runs.c.id), row).scalar_one()
        if of_run[name]:
            connection.execute(pushes.insert(), [{"run_id": run, **push} for push in of_run[name]])


def _insert_symmetry(connection: sa.Connection, session: int, table: pd.DataFrame) -> None:
    rows = [
        {"session_id": session, "phase": phase, "metric": metric, "record": record}
        for phase, metric, record in zip(
            table["phase"], table["metric"], records(table, OF_SYMMETRY), strict=True
        )
    ]
    if rows:
        connection.execute(symmetry.insert(), rows)


def _note_places(connection: sa.Connection, session: int, seen: Sequence[Input]) -> None:
    """Remember where files were seen and that they are archived, where the store did not know it yet."""
    for entry in seen:
        this = (
            (inputs.c.session_id == session) & (inputs.c.kind == entry.kind) & (inputs.c.name == entry.name)
        )
        if entry.place:
            other = this & (sa.func.coalesce(inputs.c.place, "") != entry.place)
            connection.execute(inputs.update().where(other).values(place=entry.place))
        if entry.archived:
            connection.execute(inputs.update().where(this & (inputs.c.archived == 0)).values(archived=1))


def _shared(connection: sa.Connection, session: int, new: NewSession) -> list[str]:
    """Tell which other sessions that count hold the very same logs: one of the two is a mistake."""
    logs = [entry.sha256 for entry in new.inputs if entry.kind == "log"]
    others = connection.execute(
        sa.select(athletes.c.code, sessions.c.date, sessions.c.name)
        .distinct()
        .select_from(inputs)
        .join(sessions, sessions.c.id == inputs.c.session_id)
        .join(athletes, athletes.c.id == sessions.c.athlete_id)
        .where(inputs.c.sha256.in_(logs), sessions.c.id != session, sessions.c.superseded_at.is_(None))
    )
    return [
        f"the same logs are also in the session {name!r} of {code} on {date}; if that is a mistake, take the wrong one "
        f"out: imustride season remove {code} --date {date} --session {name}"
        for code, date, name in others
    ]
