"""The list of a day: a line for each skater in the order of the codes, with the way to each page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from imustride import __version__
from imustride.errors import SettingsError
from imustride.report.amounts import MISSING, Amounts
from imustride.report.catalogue import catalogue
from imustride.report.pages import holds, page_environment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import SessionResult

INDEX = "index.html"
MARK = '<meta name="generator" content="imustride analyse">'


@dataclass(frozen=True, slots=True)
class Line:
    """A session in the list; without facts it could not be analysed.

    Parameters
    ----------
    folder : str
        Name of the results folder beside the list.
    athlete : str
    facts : mapping of str to str
        Date, protocol, surface and conditions, as the reader names them.
    runs : str
        How many count of how many.
    differs : str
        What differs left and right.
    consent : str
        Empty where it is on record.
    """

    folder: str
    athlete: str = ""
    facts: Mapping[str, str] | None = None
    runs: str = ""
    differs: str = ""
    consent: str = ""


def index_line(result: SessionResult, folder: str, language: str, system: System) -> Line:
    """Return the line of a session.

    Parameters
    ----------
    result : SessionResult
    folder : str
        Name of its results folder.
    language : str
    system : "metric" or "imperial"
    """
    from imustride.report.page_rows import condition

    amounts = Amounts(catalogue(language), system)
    say, session = amounts.say, result.session
    facts = {
        say("head.date"): str(session.date),
        say("head.protocol"): session.protocol,
        say("head.surface"): say(f"surface.{session.surface}"),
        **dict(condition(name, value, amounts) for name, value in session.conditions.items()),
    }
    usable = result.runs_table["usable"]
    counting = int(usable.sum())
    return Line(
        folder,
        session.athlete,
        facts,
        say("index.of", n=counting, all=len(usable)),
        _differs(result, amounts) if counting else say("index.no_run"),
        "" if session.consent else say("index.no_consent"),
    )


def _differs(result: SessionResult, amounts: Amounts) -> str:
    """Name each metric that differs once, with the side that has more; a side that changes with the phase twice."""
    from imustride.report.comparison import name_of
    from imustride.report.rows import wanted

    say, table = amounts.say, wanted(result.symmetry)
    real = table[table["verdict"].isin(("left larger", "right larger"))]
    said = [
        say("index.more", name=name_of(metric, say), side=say(f"word.{verdict.removesuffix(' larger')}"))
        for metric, verdict in zip(real["metric"], real["verdict"], strict=True)
    ]
    return say("list.semicolon").join(dict.fromkeys(said)) or say("index.none")


def index_page(lines: Sequence[Line], language: str) -> str:
    """Return the list as one self-contained page: by code, then date and folder; never by time or size.

    Parameters
    ----------
    lines : sequence of Line
    language : str
    """
    say = catalogue(language)
    done = sorted((line for line in lines if line.facts), key=lambda line: _order(line, say))
    shared, apart = _facts(done)
    return (
        page_environment()
        .get_template("index.html.j2")
        .render(
            say=say,
            mark=MARK,
            version=__version__,
            shared=shared,
            apart=apart,
            rows=[
                {
                    "line": line,
                    "address": f"{quote(line.folder, safe='')}/summary.html",
                    "apart": [(line.facts or {}).get(name, MISSING) for name in apart],
                }
                for line in done
            ],
            failed=sorted(line.folder for line in lines if not line.facts),
            no_consent=any(line.consent for line in done),
        )
    )


def _order(line: Line, say: Catalogue) -> tuple[str, str, str]:
    return (line.athlete, (line.facts or {}).get(say("head.date"), ""), line.folder)


def _facts(lines: Sequence[Line]) -> tuple[dict[str, str], list[str]]:
    """Return what is the same for all, and the names of what is not."""
    names = list(dict.fromkeys(name for line in lines for name in line.facts or {}))
    values = {name: {(line.facts or {}).get(name, MISSING) for line in lines} for name in names}
    shared = {name: next(iter(found)) for name, found in values.items() if len(found) == 1}
    return shared, [name for name in names if name not in shared]


def check_index(out: Path) -> None:
    """Refuse to replace a file that is no such list.

    Raises
    ------
    SettingsError
        If there is one.
    OSError
        If it cannot be read.
    """
    path = out / INDEX
    if (path.exists() or path.is_symlink()) and not holds(path, MARK):
        message = f"{path}: found another file of this name, which is no list of this program; move it away, or choose another --out"
        raise SettingsError(message)
