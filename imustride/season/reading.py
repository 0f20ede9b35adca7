"""The store read as tables: one row a session, a run, a push, or a metric of a session.

Every table begins with `athlete` (code), `date` (ISO 8601), `session` (name of the session's folder: a session is one by all
three) and, below the session, `run`. By default only what counts is read; `Chosen.history` adds what was corrected since.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import sqlalchemy as sa

from imustride.season import tables as t
from imustride.season.packing import NUMBER, Layout, all_layouts, unpack

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.season.store import Store

AT_ONCE = 250  # sessions in memory at a time while streaming
PHASES = ("acceleration", "later")


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which sessions are read: of these athletes (None: of all), from a day to a day, both included (ISO 8601)."""

    athletes: tuple[str, ...] | None = None
    since: str | None = None
    until: str | None = None
    history: bool = False

    def only(self, codes: Sequence[str]) -> Chosen:
        """Return the same choice of these athletes."""
        return replace(self, athletes=tuple(codes))


ALL = Chosen()
_SESSION = (t.athletes.c.code.label("athlete"), t.sessions.c.date, t.sessions.c.name.label("session"))
_ORDER = (t.athletes.c.code, t.sessions.c.date, t.sessions.c.name, t.sessions.c.revision)


def _where(query: sa.Select[Any], chosen: Chosen) -> sa.Select[Any]:
    if chosen.athletes is not None:
        query = query.where(t.athletes.c.code.in_(chosen.athletes))
    if chosen.since is not None:
        query = query.where(t.sessions.c.date >= chosen.since)
    if chosen.until is not None:
        query = query.where(t.sessions.c.date <= chosen.until)
    return query if chosen.history else query.where(t.sessions.c.superseded_at.is_(None))


def _of_sessions(*columns: Any) -> sa.Select[Any]:
    return sa.select(*columns).select_from(t.sessions).join(t.athletes)


def read_sessions(store: Store, chosen: Chosen = ALL) -> pd.DataFrame:
    """Return one row a session, with everything that decides what it may be compared with.

    Parameters
    ----------
    store : Store
    chosen : Chosen

    Returns
    -------
    DataFrame
        athlete, birth_year, date, session, revision, superseded_at (empty: it counts), added_at, runs, protocol, surface,
        conditions (dict), sensors (list of dict: place, device, mount, rate_hz, bandwidth_hz, calibrated, ...), definitions (dict
        of definition numbers by metric), settings_digest, product_version; and of the skates, for a glance: rate_hz and
        bandwidth_hz (the lowest; NaN where one is not known), mount (both, joined by + where they differ), calibration (``both``,
        ``one`` or ``none``).
    """
    import pandas as pd

    s = t.sessions.c
    query = _of_sessions(
        t.athletes.c.code.label("athlete"),
        t.athletes.c.birth_year,
        *(s.date, s.name.label("session"), s.revision, s.superseded_at, s.added_at, s.runs),
        *(
            s.protocol,
            s.surface,
            s.conditions,
            s.sensors,
            s.definitions,
            s.settings_digest,
            s.product_version,
        ),
    ).order_by(*_ORDER)
    with store.reading() as connection:
        found = connection.execute(_where(query, chosen))
        table = pd.DataFrame(found.all(), columns=list(found.keys()))
    for name in ("conditions", "sensors", "definitions"):
        table[name] = [json.loads(text) for text in table[name]]
    table["birth_year"] = table["birth_year"].astype("Int64")
    table["superseded_at"] = table["superseded_at"].fillna("")
    return table.join(
        pd.DataFrame([of_skates(worn) for worn in table["sensors"]], columns=list(of_skates([])))
    )


def of_skates(sensors: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return rate_hz, bandwidth_hz, mount and calibration of the skates' sensors, as `read_sessions` gives them."""
    skates = [sensor for sensor in sensors if sensor["place"].endswith("_skate")]
    calibrated = sum(bool(skate["calibrated"]) for skate in skates)
    return {
        "rate_hz": _lowest([skate["rate_hz"] for skate in skates]),
        "bandwidth_hz": _lowest([skate["bandwidth_hz"] for skate in skates]),
        "mount": "+".join(sorted({skate["mount"] or "not told" for skate in skates})),
        "calibration": "none" if not calibrated else "both" if calibrated == len(skates) else "one",
    }


def _lowest(values: Sequence[float | None]) -> float:
    known = [value for value in values if value is not None]
    return min(known) if known and len(known) == len(values) else np.nan


def read_runs(store: Store, chosen: Chosen = ALL) -> pd.DataFrame:
    """Return one row a run: athlete, date, session, revision, run, usable, reason, and every other column of ``runs.csv``."""
    import pandas as pd

    r = t.runs.c
    query = (
        _of_sessions(*_SESSION, t.sessions.c.revision, r.name.label("run"), r.usable, r.reason, r.record)
        .join(t.runs)
        .order_by(*_ORDER, r.place)
    )
    with store.reading() as connection:
        found = connection.execute(_where(query, chosen))
        table = pd.DataFrame(found.all(), columns=list(found.keys()))
    table["usable"] = table["usable"].astype(bool)
    return _opened(table)


def read_symmetry(store: Store, chosen: Chosen = ALL) -> pd.DataFrame:
    """Return one row a metric and phase of a session: athlete, date, session, revision and the columns of ``symmetry.csv``."""
    import pandas as pd

    y = t.symmetry.c
    query = (
        _of_sessions(*_SESSION, t.sessions.c.revision, y.phase, y.metric, y.record)
        .join(t.symmetry)
        .order_by(*_ORDER, y.id)
    )
    with store.reading() as connection:
        found = connection.execute(_where(query, chosen))
        return _opened(pd.DataFrame(found.all(), columns=list(found.keys())))


def _opened(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with its column of JSON texts as columns of their own."""
    import pandas as pd

    rest = pd.DataFrame(list(map(json.loads, table.pop("record").tolist())), index=table.index)
    return table.join(rest)


def read_pushes(store: Store, chosen: Chosen = ALL, metrics: Sequence[str] | None = None) -> pd.DataFrame:
    """Return one row a push: athlete, date, session, revision, run, usable, side, push, phase, flags and the metrics.

    Parameters
    ----------
    store : Store
    chosen : Chosen
    metrics : sequence of str, optional
        Only these columns, in this order; default: all. One that a session does not have is NaN.
    """
    import pandas as pd

    parts = list(stream_pushes(store, chosen, metrics))
    if len(parts) > 1:
        return pd.concat(parts, ignore_index=True)
    return parts[0] if parts else _pushes([], {}, metrics)


def stream_pushes(
    store: Store, chosen: Chosen = ALL, metrics: Sequence[str] | None = None, at_once: int = AT_ONCE
) -> Iterator[pd.DataFrame]:
    """Give the pushes of `at_once` sessions at a time, all from one state of the store; see `read_pushes`.

    The columns are the same in every part: all that any session of the store has.
    """
    sessions = _where(_of_sessions(t.sessions.c.id).order_by(*_ORDER), chosen)
    p, r = t.pushes.c, t.runs.c
    query = (
        _of_sessions(
            *(*_SESSION, t.sessions.c.revision, r.name.label("run"), r.usable, r.layout_id),
            *(p.side, p.push, p.phase, p.flags, p.words, sa.type_coerce(p.record, _Raw)),
        )
        .join(t.runs)
        .join(t.pushes)
        .order_by(*_ORDER, r.place, p.id)
    )
    with store.reading() as connection:
        layouts = all_layouts(connection)
        numbers = connection.execute(sessions).scalars().all()
        for begin in range(0, len(numbers), at_once):
            some = query.where(t.sessions.c.id.in_(numbers[begin : begin + at_once]))
            rows = connection.execute(some).all()
            if rows:
                yield _pushes(rows, layouts, metrics)


_Raw = sa.types.NullType()  # bytes as the driver gives them
_TEXTS = ("athlete", "date", "session", "run", "side", "phase", "flags")
_COLUMNS = ("athlete", "date", "session", "revision", "run", "usable", "side", "push", "phase", "flags")


def _pushes(rows: Sequence[Any], layouts: dict[int, Layout], metrics: Sequence[str] | None) -> pd.DataFrame:
    import pandas as pd

    columns = list(zip(*rows, strict=True)) if rows else [()] * (len(_COLUMNS) + 3)
    *keys, words, packed = columns
    layout = np.array(keys.pop(6), dtype=int)
    every = list(dict.fromkeys(name for held in layouts.values() for name in held.numbers))
    names = every if metrics is None else list(metrics)
    texts = _texts(words, layout, layouts) if metrics is None else {}
    values = np.full((len(rows), len(names)), np.nan)
    for number in np.unique(layout):
        here = layout == number
        of_layout = {name: place for place, name in enumerate(layouts[number].numbers)}
        found = unpack([packed[i] for i in np.flatnonzero(here)], len(of_layout))
        wanted = [(to, of_layout[name]) for to, name in enumerate(names) if name in of_layout]
        to, place = np.array(wanted, dtype=int).reshape(-1, 2).T
        values[np.ix_(here, to)] = found[:, place]
    table = pd.DataFrame(dict(zip(_COLUMNS, keys, strict=True)))
    if not rows:  # nothing tells that these are texts
        table = table.astype(dict.fromkeys(_TEXTS, str))
    table["usable"] = table["usable"].astype(bool)
    return table.join(pd.DataFrame(values, columns=names)).assign(**texts)


def _texts(
    words: Sequence[str | None], layout: NDArray[np.int64], layouts: dict[int, Layout]
) -> dict[str, NDArray[np.object_]]:
    """Return the further columns of text, empty where a session has none; the few that differ are opened once."""
    every = list(dict.fromkeys(name for held in layouts.values() for name in held.words))
    opened = {
        pair: dict(zip(layouts[pair[0]].words, json.loads(pair[1] or "[]"), strict=True))
        for pair in set(zip(layout.tolist(), words, strict=True))
    }
    rows = [opened[pair] for pair in zip(layout.tolist(), words, strict=True)] if every else []
    return {name: np.array([row.get(name, "") for row in rows], dtype=str).astype(object) for name in every}


def read_run_means(store: Store, metric: str, phase: str | None = None, chosen: Chosen = ALL) -> pd.DataFrame:
    """Return one metric, one row a run: its mean over the pushes that have it, both feet weighing the same.

    Parameters
    ----------
    store : Store
    metric : str
        Name of a column of ``pushes.csv``.
    phase : {"acceleration", "later"}, optional
        Default: all pushes. The first lift from standing (push 0) never counts.
    chosen : Chosen

    Returns
    -------
    DataFrame
        athlete, date, session, revision, run, usable, phase (``all`` without one), n, n_left, n_right, left, right (means of either foot), value (their mean;
        NaN where a foot has none), definition_number (NA where the session's version did not have the metric).
    """
    import pandas as pd

    with store.reading() as connection:
        runs = _runs_of(connection, chosen)
        of_sessions = _of_sessions(t.sessions.c.id, t.sessions.c.definitions)
        definitions = connection.execute(_where(of_sessions, chosen)).all()
        run, left, value = _metric_of_pushes(connection, metric, phase, chosen)
    place = np.searchsorted(np.sort(runs["number"]), run)
    numbers = np.append(np.sort(runs["number"]), -1)
    kept = np.isfinite(value) & (numbers[place] == run)
    order = np.argsort(np.argsort(runs["number"].to_numpy()))
    table = runs.drop(columns=["number", "of"])
    table["phase"] = phase or "all"
    for name, foot in (("left", left), ("right", ~left)):
        of_run, of_foot = place[kept & foot], value[kept & foot]
        size = np.bincount(of_run, minlength=len(runs))[order]
        total = np.bincount(of_run, of_foot, minlength=len(runs))[order]
        table[f"n_{name}"] = size
        table[name] = np.divide(total, size, out=np.full(len(runs), np.nan), where=size > 0)
    table["n"] = table["n_left"] + table["n_right"]
    table["value"] = (table["left"] + table["right"]) / 2
    texts = {text: json.loads(text).get(metric) for text in {text for _, text in definitions}}
    known = {session: texts[text] for session, text in definitions}
    table["definition_number"] = pd.array([known[session] for session in runs["of"]], dtype="Int64")
    return table


def _runs_of(connection: sa.Connection, chosen: Chosen) -> pd.DataFrame:
    import pandas as pd

    r = t.runs.c
    query = (
        _of_sessions(
            *(r.id, t.sessions.c.id, *_SESSION, t.sessions.c.revision, r.name.label("run"), r.usable)
        )
        .join(t.runs)
        .order_by(*_ORDER, r.place)
    )
    names = ["number", "of", "athlete", "date", "session", "revision", "run", "usable"]
    table = pd.DataFrame(connection.execute(_where(query, chosen)).cursor.fetchall(), columns=names)
    table["usable"] = table["usable"].astype(bool)
    return table


def _metric_of_pushes(
    connection: sa.Connection, metric: str, phase: str | None, chosen: Chosen
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.float64]]:
    """Return run, whether left, and value of every push, by cutting eight bytes out of each packed record.

    Sessions that are not chosen may be among them where all athletes and days are.
    """
    layouts = all_layouts(connection)
    p = t.pushes.c
    parts = [(np.empty(0, int), np.empty(0, bool), np.empty(0))]
    for number, held in layouts.items():
        if metric not in held.numbers:
            continue
        begin = held.numbers.index(metric) * NUMBER.itemsize + 1
        cut = sa.type_coerce(sa.func.substr(p.record, begin, NUMBER.itemsize), _Raw)
        query = sa.select(p.run_id, sa.cast(p.side == "left", sa.Integer), cut).where(p.push > 0)
        if len(layouts) > 1:
            query = query.where(p.run_id.in_(sa.select(t.runs.c.id).where(t.runs.c.layout_id == number)))
        if (chosen.athletes, chosen.since, chosen.until) != (None, None, None):
            query = query.where(p.run_id.in_(_where(_of_sessions(t.runs.c.id).join(t.runs), chosen)))
        if phase is not None:
            query = query.where(p.phase == phase)
        rows = connection.execute(
            query
        ).cursor.fetchall()  # plain tuples: rows of the library cost as much again
        if rows:
            run, left, packed = zip(*rows, strict=True)
            parts.append((np.array(run), np.array(left, dtype=bool), unpack(packed, 1)[:, 0]))
    return (
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.concatenate([part[2] for part in parts]),
    )
