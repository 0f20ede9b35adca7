"""What the store knows of the athletes of an analysis, looked up once before it begins."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.errors import ImustrideError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.cli.one_session import Job
    from imustride.cli.talk import Talk
    from imustride.keeping.own_error import OwnSeason


def with_own_seasons(talk: Talk, jobs: Sequence[Job], place: str | None) -> list[Job]:
    """Give each job what the store knows of its athlete; without a store, or where it knows nothing, nothing changes.

    Raises
    ------
    StoreError
        If a store is named that cannot be used.
    """
    from imustride.keeping.own_error import named_store, own_season

    store = named_store(place)
    if store is None:
        return list(jobs)
    known: dict[str, OwnSeason | None] = {}
    out = []
    for job in jobs:
        athlete = _athlete(job)
        if athlete is not None and athlete not in known:
            known[athlete], problem = own_season(store, athlete)
            if problem is not None:
                talk.problem(problem)
        out.append(replace(job, own=known.get(athlete or "")))
    return out


def _athlete(job: Job) -> str | None:
    """Return the code of a session's athlete; None where it cannot be read, which the analysis will tell."""
    from imustride.loaders import open_session

    try:
        return open_session(job.session).athlete
    except (ImustrideError, OSError):
        return None
