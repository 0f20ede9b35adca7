"""Sessions of the store as terms of comparison: which are one course, which stand apart and why."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.season.like import APART, COMPARABLE, Terms, compare_terms, courses
from imustride.season_results import Apart

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from imustride.season.family import Followed
    from imustride.season.reading import Chosen
    from imustride.season.store import Store

Key = tuple[str, str]  # athlete, and day and name of the session
NO_METRIC = "the version that analysed it did not have this metric"
NO_DEFINITION = 0  # columns of runs.csv have no definition number


@dataclass(frozen=True, slots=True)
class Session:
    """What decides what a session may be compared with."""

    athlete: str
    date: dt.date
    name: str
    birth_year: int | None
    protocol: str
    surface: str
    rate_hz: float | None
    bandwidth_hz: float | None
    mount: str
    calibration: str
    conditions: Mapping[str, object]
    definitions: Mapping[str, int]

    def terms(self, followed: Followed) -> Terms | None:
        """Return the terms of what is followed; None where the session cannot have it."""
        number = NO_DEFINITION if followed.kind == "runs" else self.definitions.get(followed.metric)
        if number is None:
            return None
        return Terms(
            followed.name,
            number,
            followed.phase,
            self.protocol,
            self.surface,
            self.rate_hz,
            self.bandwidth_hz,
            self.mount,
            self.calibration,
            self.conditions,
        )


def sessions_of(store: Store, chosen: Chosen) -> dict[Key, Session]:
    """Return the sessions by athlete and ``date/name``, in order of athlete and time."""
    from imustride.season.reading import read_sessions

    rows = read_sessions(store, chosen).to_dict("records")
    return {(row["athlete"], f"{row['date']}/{row['session']}"): _session(row) for row in rows}


def session_from(facts: Mapping[str, Any], definitions: Mapping[str, int]) -> Session:
    """Return a session that is not in the store as one of the store's.

    Parameters
    ----------
    facts : mapping
        As `exporting.declared.session_facts` tells them.
    definitions : mapping of str to int
        Definition numbers by metric.
    """
    from imustride.season.reading import of_skates

    return _session(
        {
            **{name: facts[name] for name in ("athlete", "date", "protocol", "surface", "conditions")},
            "session": facts["name"],
            "birth_year": facts.get("birth_year"),
            "definitions": definitions,
            **of_skates(facts["sensors"]),
        }
    )


def _session(row: Mapping[Any, Any]) -> Session:
    import pandas as pd

    return Session(
        row["athlete"],
        dt.date.fromisoformat(row["date"]),
        row["session"],
        None if pd.isna(row["birth_year"]) else int(row["birth_year"]),
        row["protocol"],
        row["surface"],
        _known(row["rate_hz"]),
        _known(row["bandwidth_hz"]),
        row["mount"],
        row["calibration"],
        row["conditions"],
        row["definitions"],
    )


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def own_course(
    sessions: Mapping[Key, Session], values: pd.DataFrame, followed: Followed, athlete: str
) -> tuple[frozenset[Key], frozenset[Key]]:
    """Return the course of an athlete that goes on to the last session, and what of the others is comparable with it.

    Only sessions with a value count.
    """
    terms = _terms(sessions, values, followed)
    own = [key for key in terms if key[0] == athlete]
    parts = courses([terms[key] for key in own])
    if not parts:
        return frozenset(), frozenset()
    course = [own[place] for place in parts[0]]
    last = terms[course[-1]]
    others = (key for key in terms if key[0] != athlete)
    return frozenset(course), frozenset(
        key for key in others if compare_terms(terms[key], last).word == COMPARABLE
    )


def _terms(sessions: Mapping[Key, Session], values: pd.DataFrame, followed: Followed) -> dict[Key, Terms]:
    known = values[np.isfinite(values["value"])]
    measured = set(zip(known["athlete"], known["session"], strict=True))
    found = {key: one.terms(followed) for key, one in sessions.items() if key in measured}
    return {key: terms for key, terms in found.items() if terms is not None}


def apart(
    sessions: Mapping[Key, Session],
    values: pd.DataFrame,
    followed: Followed,
    athlete: str,
    course: frozenset[Key],
) -> tuple[Apart, ...]:
    """Return the sessions of an athlete that are not in the course, and why, in order of time."""
    terms = _terms(sessions, values, followed)
    last = [terms[key] for key in terms if key in course][-1:]
    of_athlete = values[values["athlete"] == athlete]
    levels = of_athlete.groupby("session")["value"].agg(["mean", "count"]).to_dict("index")
    out = []
    for key, session in sessions.items():
        if key[0] != athlete or key in course:
            continue
        found = levels.get(key[1], {"mean": float("nan"), "count": 0})
        if key in terms and last:
            likeness = compare_terms(terms[key], last[0])
            # Like the last session, yet not like one between: rates farther apart step by step.
            word = likeness.word if likeness.word != COMPARABLE else APART
            reasons = likeness.reasons or ("not alike with all sessions of the course",)
        else:
            word = "no value"
            reasons = (NO_METRIC,) if session.terms(followed) is None else ("no usable run has a value",)
        out.append(
            Apart(session.date, session.name, float(found["mean"]), int(found["count"]), word, reasons)
        )
    return tuple(out)
