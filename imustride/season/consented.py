"""Who of the chosen athletes may be shown together."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride.season import tables as t
from imustride.season.consent import problem_of
from imustride.season.people import known_athlete

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.season.consent import Scope
    from imustride.season.reading import Chosen
    from imustride.season.store import Store


def consented(
    store: Store, chosen: Chosen, on: dt.date | None = None
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Return the codes of those whose consent holds, and the reason for each of the others.

    One athlete alone needs consent to the scope ``season``, several need ``group``.

    Parameters
    ----------
    store : Store
    chosen : Chosen
        None of its athletes: all who have sessions.
    on : date, optional
        Default: today.

    Raises
    ------
    StoreError
        If an athlete named is not in the store.
    """
    on = on or dt.datetime.now().astimezone().date()
    with store.reading() as connection:
        if chosen.athletes is None:
            who = sa.select(t.athletes.c.code).where(t.athletes.c.id.in_(sa.select(t.sessions.c.athlete_id)))
            codes = connection.execute(who.order_by(t.athletes.c.code)).scalars().all()
        else:
            codes = sorted(set(chosen.athletes))
        scope: Scope = "season" if chosen.athletes is not None and len(codes) == 1 else "group"
        reasons = {code: problem_of(connection, known_athlete(connection, code), scope, on) for code in codes}
    may = tuple(code for code, reason in reasons.items() if reason is None)
    return may, {code: reason for code, reason in reasons.items() if reason is not None}


def athletes_of(store: Store, named: Sequence[str] = ()) -> list[str]:
    """Return the codes of all athletes in the store, or those named, in order.

    Raises
    ------
    StoreError
        If an athlete named is not in the store.
    """
    with store.reading() as connection:
        for code in named:
            known_athlete(connection, code)
        every = connection.execute(sa.select(t.athletes.c.code).order_by(t.athletes.c.code)).scalars()
        return [code for code in every if not named or code in named]
