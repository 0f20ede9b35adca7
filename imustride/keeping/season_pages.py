"""Pages of a season: noted in the store, then written as one folder with their numbers."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from imustride.exporting.own_folder import own_folder
from imustride.exporting.tables import csv_text

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from imustride.report.amounts import System
    from imustride.season.store import Store
    from imustride.season_results import Course, SeasonResult

GROUP = "group.html"


def write_season_pages(
    store: Store, result: SeasonResult, out: Path, language: str = "en", system: System = "metric"
) -> Path:
    """Write a page a skater, of several skaters one of the group, and the numbers behind them.

    Parameters
    ----------
    store : Store
    result : SeasonResult
    out : Path
        An earlier folder of this program is replaced.
    language : str
    system : "metric" or "imperial"

    Returns
    -------
    Path
        The page to begin with.

    Raises
    ------
    SettingsError
        If `out` is there and is no folder of this program.
    OSError
        If the folder cannot be written.
    """
    from imustride.exporting import check_target
    from imustride.report.season_page import group_page, season_page
    from imustride.season.outputs import note_outputs

    check_target(out)
    names = {code: f"season-{code}.html" for code in result.athletes}
    pages = {name: season_page(result, code, language, system) for code, name in names.items()}
    if len(names) > 1:
        pages[GROUP] = group_page(result, names, language, system)
    # First noted, then written: what is written is found again by whoever forgets an athlete.
    note_outputs(store, out, "page", result.athletes)
    with own_folder(out, {"kind": "page", "athletes": list(result.athletes)}) as folder:
        for name, text in pages.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        for name, table in season_tables(result).items():
            (folder / f"{name}.csv").write_text(csv_text(table), encoding="utf-8", newline="\n")
    return out / (GROUP if len(names) > 1 else names[result.athletes[0]])


def season_tables(result: SeasonResult) -> dict[str, pd.DataFrame]:
    """Return the numbers of a season: ``changes``, one row an athlete and metric, and ``sessions``, one row a point."""
    import pandas as pd

    changes = [{**_key(course), **_told(course)} for course in result.courses]
    sessions = [
        {**_key(course), **asdict(point), "changed": "; ".join(point.changed)}
        for course in result.courses
        for point in course.points
    ]
    return {
        "changes": pd.DataFrame(changes).astype({"more_sessions": "Int64", "own_typical_error": float}),
        "sessions": pd.DataFrame(sessions),
    }


def _key(course: Course) -> dict[str, str]:
    return {"athlete": course.athlete, "name": course.name, "unit": course.unit, "phase": course.phase}


def _told(course: Course) -> dict[str, Any]:
    judged = {name: value for name, value in course.judged.items() if name not in {"athlete", "metric"}}
    return {
        **judged,
        "minimal_detectable_change": course.detectable,
        "smallest_source": course.smallest_source,
        "own_typical_error": course.own_error.get("value"),
        "more_sessions": course.more_sessions,
        "side": course.side.get("side", ""),
    }
