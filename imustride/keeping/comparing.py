"""A season compared: read from the store, like kept with like, judged, and told what would tell more."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import SettingsError, StoreError
from imustride.keeping.likeness import apart, own_course, sessions_of
from imustride.keeping.values import run_values
from imustride.registry import methods
from imustride.season_results import Course, Point, SeasonResult

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from imustride.keeping.likeness import Session
    from imustride.season.family import Followed, SeasonSettings
    from imustride.season.reading import Chosen
    from imustride.season.store import Store

GIVEN = "given for this comparison"
BY_KEYS = ["date", "session"]


@dataclass(frozen=True, eq=False, slots=True)
class Group:
    """Values of one group of athletes that may be judged together, by the name of what is followed.

    `judged` has a row an athlete and name; `levels` carry the measurement band.
    """

    judged: pd.DataFrame
    levels: Mapping[str, pd.DataFrame]
    smallest: Mapping[str, tuple[float, str]]
    reliability: Mapping[str, tuple[dict[str, Any], ...]]
    sides: Mapping[str, pd.DataFrame]
    agreement: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


def named_family(settings: SeasonSettings, names: Sequence[str] = ()) -> tuple[Followed, ...]:
    """Return what is to be followed: the metrics named, else the usual family.

    Raises
    ------
    SettingsError
        If a name is unknown or comes twice, or there are more than six.
    """
    from imustride.exporting.dictionary import RUNS
    from imustride.season.family import follow

    numbers = {name: column.unit for name, column in RUNS.items() if column.kind == "number"}
    # Standard deviations are no results, and a phase that runs in a circle has no mean of this kind.
    units = {
        name: unit for name, unit in numbers.items() if not name.endswith("_sd") and "_phase_" not in name
    }
    return follow(tuple(names) or settings.family, settings.phase, methods("metrics"), units)


def compare_season(
    store: Store,
    chosen: Chosen,
    family: Sequence[Followed],
    settings: SeasonSettings,
    matters: Mapping[str, float] | None = None,
) -> SeasonResult:
    """Compare a season of one athlete, or of each of several.

    Parameters
    ----------
    store : Store
    chosen : Chosen
        Athletes without valid consent are left out, and told; one alone is refused.
    family : sequence of Followed
    settings : SeasonSettings
    matters : mapping of str to float, optional
        Smallest change that matters, by the name of what is followed; else 0.2 of the spread between athletes of one
        age group, where there is one.

    Raises
    ------
    StoreError
        If nobody is left, or the store does not know an athlete.
    SettingsError
        If `matters` names what is not followed, or a change that is not positive.

    Notes
    -----
    How much sessions differ without a change is learnt from all athletes whose consent covers a group and whose
    sessions are comparable; of the others nothing is shown.
    """
    given = dict(matters or {})
    unknown = sorted(given.keys() - {one.name for one in family})
    if unknown:
        message = (
            f"--matters: {unknown[0]} is not among what is compared: {', '.join(one.name for one in family)}"
        )
        raise SettingsError(message)
    codes, left_out = _may_be_shown(store, chosen)
    readable = chosen.only(sorted({*codes, *_learnt_from(store, chosen)}))
    sessions = sessions_of(store, readable)
    values = {one.name: run_values(store, one, readable) for one in family}
    groups: dict[Any, Group] = {}
    courses = []
    for code in codes:
        kept = {one.name: own_course(sessions, values[one.name], one, code) for one in family}
        key = tuple(frozenset(own | others) for own, others in kept.values())
        if key not in groups:
            groups[key] = _judge(values, dict(zip(kept, key, strict=True)), sessions, family, given)
        courses += [
            _course(code, one, groups[key], sessions, values[one.name], kept[one.name][0], settings)
            for one in family
        ]
    newest = {code: [one for one in sessions.values() if one.athlete == code][-1:] for code in codes}
    return SeasonResult(
        codes,
        tuple(courses),
        settings.phase,
        {code: one.protocol for code, found in newest.items() for one in found},
        {code: one.surface for code, found in newest.items() for one in found},
        next(iter(groups.values())).agreement if len(groups) == 1 else {},
        left_out,
        settings.most_ahead,
    )


def _may_be_shown(store: Store, chosen: Chosen) -> tuple[tuple[str, ...], dict[str, str]]:
    from imustride.season.consented import consented

    codes, left_out = consented(store, chosen)
    if not codes:
        reasons = "; ".join(f"{code}: {reason}" for code, reason in left_out.items())
        message = f"{store.shown}: no athlete whose season may be compared; {reasons or 'no sessions'}"
        raise StoreError(message)
    return codes, left_out


def _learnt_from(store: Store, chosen: Chosen) -> tuple[str, ...]:
    from dataclasses import replace

    from imustride.season.consented import consented

    return consented(store, replace(chosen, athletes=None))[0]


def _judge(
    values: Mapping[str, pd.DataFrame],
    kept: Mapping[str, frozenset[tuple[str, str]]],
    sessions: Mapping[tuple[str, str], Session],
    family: Sequence[Followed],
    given: Mapping[str, float],
) -> Group:
    """Judge all athletes of a group of comparable sessions."""
    from imustride.season.change import band, judge_season
    from imustride.season.levels import session_levels
    from imustride.season.sides import side_agreement, sides

    tables = {name: _with_birth_years(_only(values[name], wanted), sessions) for name, wanted in kept.items()}
    signed = {one.name: one.kind == "asymmetry" for one in family}
    changed = _changed(judge_season(tables))
    figures = {
        name: _repeatable(table, changed.get(name, set()), signed=signed[name])
        for name, table in tables.items()
    }
    smallest = {name: _smallest(name, given, figures[name]) for name in tables}
    known = {name: value for name, (value, _) in smallest.items() if not np.isnan(value)}
    levels = {name: band(session_levels(table)) for name, table in tables.items()}
    asymmetries = {name: found for name, found in levels.items() if signed[name] and len(found)}
    return Group(
        judge_season(tables, known),
        levels,
        smallest,
        figures,
        {name: sides(found) for name, found in asymmetries.items()},
        {name: asdict(side_agreement(found)) for name, found in asymmetries.items()},
    )


def _changed(judged: pd.DataFrame) -> dict[str, set[str]]:
    """Return by metric the athletes with a real change: theirs is no noise."""
    from imustride.season.change import REAL

    real = judged[judged["verdict"] == REAL]
    return {name: set(real["athlete"][real["metric"] == name]) for name in judged["metric"].unique()}


def _repeatable(table: pd.DataFrame, changed: set[str], *, signed: bool) -> tuple[dict[str, Any], ...]:
    """Return how repeatable a metric is in the athletes that did not change."""
    from imustride.season.reliability import reliability

    quiet = table[~table["athlete"].isin(changed) & np.isfinite(table["value"])]
    return tuple(_rows(reliability(quiet, signed=signed))) if len(quiet) else ()


def _only(values: pd.DataFrame, wanted: frozenset[tuple[str, str]]) -> pd.DataFrame:
    keys = zip(values["athlete"], values["session"], strict=True)
    return values[np.array([key in wanted for key in keys], dtype=bool)].reset_index(drop=True)


def _with_birth_years(values: pd.DataFrame, sessions: Mapping[tuple[str, str], Session]) -> pd.DataFrame:
    import pandas as pd

    keys = zip(values["athlete"], values["session"], strict=True)
    return values.assign(birth_year=pd.array([sessions[key].birth_year for key in keys], dtype="Int64"))


def _smallest(
    name: str, given: Mapping[str, float], figures: Sequence[Mapping[str, Any]]
) -> tuple[float, str]:
    """Return the smallest change that matters and where it comes from; NaN where none is known."""
    if name in given:
        return given[name], GIVEN
    found = [one for one in figures if one["quantity"] == "smallest worthwhile change"]
    if found and np.isfinite(found[0]["value"]) and found[0]["value"] > 0.0:
        return float(found[0]["value"]), f"{found[0]['form']}, {found[0]['athletes']} athletes of one age"
    return float("nan"), ""


def _course(
    code: str,
    followed: Followed,
    group: Group,
    sessions: Mapping[tuple[str, str], Session],
    values: pd.DataFrame,
    own: frozenset[tuple[str, str]],
    settings: SeasonSettings,
) -> Course:
    """Put together what is known of one metric of one athlete."""
    from imustride.season.reliability import own_typical_error

    levels = group.levels[followed.name]
    course = levels[levels["athlete"] == code]
    judged = _judgement(group.judged, code, followed.name)
    of_side = group.sides.get(followed.name)
    side = {} if of_side is None else next(iter(_rows(of_side[of_side["athlete"] == code])), {})
    return Course(
        code,
        followed.name,
        followed.metric,
        followed.kind,
        followed.unit,
        followed.phase,
        _points(course, sessions),
        apart(sessions, values, followed, code, own),
        judged,
        group.smallest[followed.name][1],
        _ahead(levels, judged, len(group.levels), settings),
        asdict(own_typical_error(course)) if len(course) else {},
        group.reliability[followed.name],
        side,
    )


def _judgement(table: pd.DataFrame, code: str, name: str) -> dict[str, Any]:
    from imustride.season.change import Change

    found = _rows(table[(table["athlete"] == code) & (table["metric"] == name)])
    judged = found[0] if found else asdict(Change(name, code, 0, 0, reason="no session with a value"))
    for end in ("step_from", "step_to"):
        judged[end] = judged[end].date() if hasattr(judged[end], "date") else None
    return judged


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {str(name): value.item() if hasattr(value, "item") else value for name, value in row.items()}
        for row in table.astype(object).to_dict("records")
    ]


def _points(course: pd.DataFrame, sessions: Mapping[tuple[str, str], Session]) -> tuple[Point, ...]:
    from imustride.season.like import changed_conditions

    points, before = [], None
    for row in course.to_dict("records"):
        session = sessions[row["athlete"], row["session"]]
        changed = () if before is None else changed_conditions(before.conditions, session.conditions)
        level, low, high = (float(row[name]) for name in ("level", "band_low", "band_high"))
        numbers = int(row["runs"]), int(row["pushes"])
        points.append(Point(session.date, session.name, level, low, high, *numbers, changed))
        before = session
    return tuple(points)


def _ahead(
    levels: pd.DataFrame, judged: Mapping[str, Any], metrics: int, settings: SeasonSettings
) -> int | None:
    from imustride.season.change import UNCLEAR, Change
    from imustride.season.outlook import sessions_needed

    if judged["verdict"] != UNCLEAR or not len(levels):
        return None
    return sessions_needed(levels, Change(**judged), metrics, settings.most_ahead)
