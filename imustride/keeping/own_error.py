"""The athlete's own typical error from session to session, as the smallest difference of left and right that counts."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.keeping.likeness import Session, session_from, sessions_of
from imustride.metrics.symmetry_verdict import SmallestDifference
from imustride.registry import methods
from imustride.season.family import ASYMMETRY, Followed
from imustride.season.like import COMPARABLE, compare_terms

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from imustride.season.family import Phase
    from imustride.season.store import Store

TABLE_ROUNDING = 1e-5  # tables carry six digits
PHASES: tuple[Phase, ...] = ("acceleration", "later", "all")
OWN = "own typical error"
SOURCE = f"{OWN} from session to session, {{n}} sessions, {{first}} to {{last}}"


@dataclass(frozen=True, slots=True)
class OwnSeason:
    """What the store knows of an athlete's left against right; plain data, so that another process may use it.

    Parameters
    ----------
    sessions : tuple of Session
        In order of time.
    compared : tuple of mapping
        By phase and metric right against left in each of them: index [%], or difference [unit].
    """

    sessions: tuple[Session, ...]
    compared: tuple[Mapping[tuple[str, str], float], ...]


def named_store(place: str | None) -> Store | None:
    """Open the store that was named, or that ``IMUSTRIDE_STORE`` names and that is there; None without one.

    Raises
    ------
    StoreError
        If the store named is not there, or one that is there cannot be used.
    """
    from imustride.season.place import VARIABLE, server_url
    from imustride.season.store import open_store

    chosen = place or os.environ.get(VARIABLE)
    if not chosen or (place is None and server_url(chosen) is None and not Path(chosen).exists()):
        return None
    return open_store(chosen)


def own_season(store: Store, athlete: str) -> tuple[OwnSeason | None, str | None]:
    """Return what the store knows of an athlete, or None and why it may not be used; both None where it knows nothing."""
    from imustride.season.consent import consent_problem
    from imustride.season.consented import athletes_of
    from imustride.season.reading import Chosen, read_symmetry

    if athlete not in athletes_of(store):
        return None, None
    chosen = Chosen((athlete,))
    sessions = sessions_of(store, chosen)
    if not sessions:
        return None, None
    problem = consent_problem(store, athlete)
    if problem is not None:
        return None, f"{athlete}: the season was not looked at: {problem}"
    table = read_symmetry(store, chosen)
    rows = {f"{date}/{name}": part for (date, name), part in table.groupby(["date", "session"])}
    compared = tuple(_compared(rows.get(key)) for _, key in sessions)
    return OwnSeason(tuple(sessions.values()), compared), None


def _compared(rows: pd.DataFrame | None) -> dict[tuple[str, str], float]:
    if rows is None:
        return {}
    metrics = methods("metrics")
    found = {}
    for row in rows.to_dict("records"):
        how = metrics[row["metric"]].symmetry if row["metric"] in metrics else "none"
        value = {"index": row.get("symmetry_index_percent"), "difference": row.get("difference")}.get(how)
        if value is not None and np.isfinite(value):
            found[row["phase"], row["metric"]] = float(value)
    return found


def smallest_differences(
    own: OwnSeason, facts: Mapping[str, Any]
) -> dict[str | tuple[str, str], SmallestDifference]:
    """Return the athlete's typical errors from the sessions that are comparable with one.

    Parameters
    ----------
    own : OwnSeason
    facts : mapping
        Of the session that is analysed, as `exporting.declared.session_facts` tells them; its own row in the store does
        not count.

    Returns
    -------
    dict of (phase, metric) to SmallestDifference
        Only where enough sessions have a value.
    """
    numbers = {name: metric.number for name, metric in methods("metrics").items()}
    this = session_from(facts, numbers)
    out: dict[str | tuple[str, str], SmallestDifference] = {}
    for metric, descriptor in methods("metrics").items():
        for phase in PHASES:
            unit = "%" if descriptor.symmetry == "index" else descriptor.unit
            followed = Followed(f"{ASYMMETRY}{metric}", metric, "asymmetry", unit, phase)
            found = _smallest(own, this, followed)
            if found is not None:
                out[phase, metric] = found
    return out


def same_smallest(
    symmetry: pd.DataFrame, smallest: Mapping[str | tuple[str, str], SmallestDifference]
) -> bool:
    """Whether the rows of ``symmetry.csv`` were judged by these own typical errors, and no others."""
    for row in symmetry.to_dict("records"):
        wanted = smallest.get((row["phase"], row["metric"]))
        source = str(row["smallest_difference_source"])
        if wanted is None:
            if source.startswith(OWN):
                return False
        elif source != wanted.source or not math.isclose(
            row["smallest_difference"], wanted.value, rel_tol=TABLE_ROUNDING
        ):
            return False
    return True


def _smallest(own: OwnSeason, this: Session, followed: Followed) -> SmallestDifference | None:
    import pandas as pd

    from imustride.season.reliability import own_typical_error

    key, terms = (followed.phase, followed.metric), this.terms(followed)
    like = [
        (session.date, compared[key])
        for session, compared in zip(own.sessions, own.compared, strict=True)
        if key in compared and (session.date, session.name) != (this.date, this.name)
        if terms is not None and (other := session.terms(followed)) is not None
        if compare_terms(other, terms).word == COMPARABLE
    ]
    if not like:
        return None
    error = own_typical_error(pd.DataFrame(like, columns=["date", "level"]))
    if error.reason or not error.value > 0.0:
        return None
    return SmallestDifference(error.value, SOURCE.format(n=len(like), first=like[0][0], last=like[-1][0]))
