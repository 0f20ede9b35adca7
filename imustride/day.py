"""The day's list, the kit and the logs joined: session folders, a list with start feet, a sheet for the boards."""

from __future__ import annotations

import csv
import io
import os
import shutil
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from imustride.cut_page import CUT, PICTURE_NAME, command_text, cut_group
from imustride.day_cut import cut_plan, is_same_piece, write_cut_piece
from imustride.errors import FileFormatError
from imustride.exporting.swap import repair, swapped_in
from imustride.preparing.kit import no_kit, read_kit
from imustride.preparing.movements import kind_of
from imustride.preparing.plan import plan_day, worn_by
from imustride.preparing.roster import read_roster
from imustride.preparing.session_text import content, gates_text, toml_text
from imustride.report.catalogue import DEFAULT_LANGUAGE
from imustride.report.cut import Told as CutTold
from imustride.report.cut import cut_files
from imustride.report.pages import holds
from imustride.report.sheet import MARK, Line, sheet_page
from imustride.session import declared

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from imustride.long_logs import DayCut
    from imustride.preparing.kit import Kit
    from imustride.preparing.plan import Log, Plan, PlannedSession
    from imustride.surveying import Told

SHEET, LIST = "sheet.html", "list.csv"
LIST_HEADER = ("date", "time", "athlete", "run", "start_foot", "session")


@dataclass(frozen=True, slots=True)
class DayFiles:
    """What a day is prepared from, and where it goes.

    Parameters
    ----------
    roster, kit, logs, out : Path
    date : date or None
        Of all lines, where the list has no column of it.
    delimiter, encoding : str or None
        Of the list; None: found out and told.
    sheet_only : bool
        Before the test: no logs yet, no sessions.
    link : bool
        Logs as hard links instead of copies.
    cut : bool
        Logs hold many runs each, to be found in them.
    partial : bool
        With `cut`: what was matched is written, though something was not.
    language : str
        Of the page of the cut, one of `imustride.report.catalogue.languages`.
    """

    roster: Path
    kit: Path
    logs: Path
    out: Path
    date: dt.date | None = None
    delimiter: str | None = None
    encoding: str | None = None
    sheet_only: bool = False
    link: bool = False
    cut: bool = False
    partial: bool = False
    language: str = DEFAULT_LANGUAGE


@dataclass(frozen=True, slots=True)
class Prepared:
    """A plan with its session texts by name, and which of the folders are there already as they should be.

    With a cut of long logs `left_out` says what was not matched and does not hinder the rest from being written.
    """

    plan: Plan
    texts: dict[str, str]
    kept: tuple[str, ...]
    problems: tuple[str, ...]
    cut: DayCut | None = None
    left_out: tuple[str, ...] = ()


def prepare_day(files: DayFiles, told: Told | None = None) -> Prepared:
    """Plan a day, and check everything before anything is written.

    Parameters
    ----------
    files : DayFiles
    told : callable, optional
        Called with a few words as long logs are read.

    Raises
    ------
    FileFormatError
        If the list or the kit cannot be read at all.
    """
    roster = read_roster(files.roster, files.date, files.delimiter, files.encoding)
    missing_kit = files.sheet_only and not files.kit.exists()
    kit = no_kit(files.kit.parent) if missing_kit else read_kit(files.kit)
    plan = plan_day(roster, kit, None if files.sheet_only else files.logs, cut=files.cut)
    cut = None
    problems = list(plan.problems)
    left_out: tuple[str, ...] = ()
    if files.cut and not problems:
        plan, cut = cut_plan(roster.name, plan, kit, files.out, told)
        problems, left_out = ([], cut.problems) if files.partial else (list(cut.problems), left_out)
    texts: dict[str, str] = {}
    kept: list[str] = []
    if not files.sheet_only and not problems:
        for session in plan.sessions:
            text, wrong = _checked_text(session, kit, files.out / session.name)
            texts[session.name] = text
            problems += wrong
    if not problems:
        problems += _foreign(files)
        for session in plan.sessions if texts else ():
            folder = files.out / session.name
            if is_same(folder, texts[session.name], session):
                kept.append(session.name)
            elif folder.exists() or folder.is_symlink():
                problems.append(
                    f"{session.name}: there already, with other contents; wanted a new folder; move it away, or choose another --out"
                )
    return Prepared(plan, texts, tuple(kept), tuple(problems), cut, left_out)


def write_day(files: DayFiles, prepared: Prepared, told: Told | None = None) -> list[str]:
    """Write what was planned: each session folder whole or not at all, then the list and the sheet.

    Parameters
    ----------
    files : DayFiles
    prepared : Prepared
    told : callable, optional
        Called with the name of each log before it is copied or cut out, its number, and how many there are.

    Returns
    -------
    list of str
        Remarks, one line each.

    Raises
    ------
    OSError
        If something cannot be written; sessions written before stay.
    """
    notes: set[str] = set()
    files.out.mkdir(parents=True, exist_ok=True)
    new = [
        one for one in prepared.plan.sessions if one.name in prepared.texts and one.name not in prepared.kept
    ]
    count, number = sum(len(_targets(session)) for session in new), 0
    for session in new:
        target = files.out / session.name
        repair(target)
        with swapped_in(target) as folder:
            for name, log in _targets(session).items():
                number += 1
                if told is not None:
                    told(f"{session.name}/{name}", number, count)
                _put(log, folder / name, notes, link=files.link)
            _tell(folder, session, prepared.texts[session.name])
    (files.out / LIST).write_text(list_text(prepared.plan), encoding="utf-8", newline="\n")
    (files.out / SHEET).write_text(sheet_text(prepared.plan), encoding="utf-8", newline="\n")
    return sorted(notes)


def write_cut(files: DayFiles, prepared: Prepared) -> Path | None:
    """Write the page and the pictures of the cut, which show what to correct; None where they cannot lie there.

    Raises
    ------
    OSError
        If something cannot be written.
    """
    if prepared.cut is None or not prepared.cut.groups or _foreign(files):
        return None
    files.out.mkdir(parents=True, exist_ok=True)
    for old in files.out.iterdir():
        if PICTURE_NAME.fullmatch(old.name) and (old.is_file() or old.is_symlink()):
            old.unlink()
    told = CutTold(
        files.roster.name,
        (*prepared.problems, *prepared.left_out),
        prepared.cut.notes,
        _again(files),
        "" if prepared.problems else _analysis(files, prepared),
    )
    groups = [cut_group(group) for group in prepared.cut.groups]
    for name, content_ in cut_files(told, groups, files.language).items():
        (files.out / name).write_bytes(content_)
    return files.out / CUT


def _again(files: DayFiles) -> str:
    """Return the command that cuts the logs of a list once more."""
    beside = {
        "kit": files.roster.parent / "kit.toml",
        "logs": files.roster.parent,
        "language": DEFAULT_LANGUAGE,
    }
    options = {
        name: value
        for name in ("kit", "logs", "date", "delimiter", "encoding", "language")
        if (value := getattr(files, name)) is not None and value != beside.get(name)
    }
    return command_text("prepare", files.roster, "--cut", **options, out=files.out)


def _analysis(files: DayFiles, prepared: Prepared) -> str:
    """Return the command that analyses the sessions; empty without any."""
    names = [files.out / name for name in prepared.texts]
    return command_text("analyse", *names, out="results") if names else ""


def _checked_text(session: PlannedSession, kit: Kit, folder: Path) -> tuple[str, list[str]]:
    """Write the session's text, read it back as a session, and look for the calibrations it names."""
    found = content(session, kit, folder)
    text = toml_text(found)
    problems = []
    try:
        declared(tomllib.loads(text), folder, f"{session.name}/session.toml")
    except FileFormatError as error:
        problems.append(f"{error} (from {kit.name})")
    problems += [
        f"{session.name}: calibration {sensor['calibration']!r} of {sensor['device']} is missing; correct {kit.name}"
        for sensor in found["sensors"]
        if "calibration" in sensor
        and not (folder.parent / session.name / sensor["calibration"]).resolve().is_file()
    ]
    return text, problems


def is_same(folder: Path, text: str, session: PlannedSession) -> bool:
    """Tell whether a session folder is there as it would be written; logs are compared by size."""
    file = folder / "session.toml"
    if folder.is_symlink() or not file.is_file() or file.read_bytes() != text.encode():
        return False
    return all(
        (
            is_same_piece(log, folder / log.target)
            if log.piece is not None
            else (folder / log.target).is_file()
            and (folder / log.target).stat().st_size == log.source.stat().st_size
        )
        for entry in session.recordings
        for log in entry.logs.values()
    ) and all(
        not run.row.gates
        or (folder / run.row.run / "gates.csv").read_text(encoding="utf-8") == gates_text(run.row.gates)
        for run in session.runs
    )


def _targets(session: PlannedSession) -> dict[str, Log]:
    """Return the logs of a session by name inside its folder; one log of several runs is there once."""
    return {log.target: log for run in session.recordings for log in run.logs.values()}


def _put(log: Log, target: Path, notes: set[str], *, link: bool) -> None:
    """Copy a log, link to it, or cut its piece out."""
    target.parent.mkdir(parents=True, exist_ok=True)
    if log.piece is not None:
        write_cut_piece(log, target)
    elif not (link and _linked(log.source, target)):
        shutil.copy2(log.source, target)
        if link:
            notes.add("some logs lie on another disk and were copied: links do not reach there")


def _tell(folder: Path, session: PlannedSession, text: str) -> None:
    """Write what a session's logs are: gate times and ``session.toml``."""
    for run in session.recordings:
        if run.row.gates:
            (folder / run.row.run).mkdir(exist_ok=True)
            (folder / run.row.run / "gates.csv").write_text(
                gates_text(run.row.gates), encoding="utf-8", newline="\n"
            )
    (folder / "session.toml").write_text(text, encoding="utf-8", newline="\n")


def _linked(source: Path, target: Path) -> bool:
    try:
        os.link(source.resolve(), target)
    except OSError:
        return False
    return True


def _foreign(files: DayFiles) -> list[str]:
    """Refuse to replace a list, a sheet or a page of the cut that this command did not write."""
    out = files.out
    ours = [(SHEET, MARK), (LIST, ",".join(LIST_HEADER)), *([(CUT, MARK)] if files.cut else [])]
    if out.exists() and not out.is_dir():
        return [f"{out.name}: found a file, wanted a folder for the sessions; choose another --out"]
    found = []
    for name, mark in ours:
        path = out / name
        if (path.exists() or path.is_symlink()) and not holds(path, mark):
            found.append(
                f"{out.name}/{name}: found another file of this name; move it away, or choose another --out"
            )
    return found


def day_rows(plan: Plan) -> list[dict[str, str]]:
    """Return the list of the day in order of time: what is printed and kept as ``list.csv``."""
    places = list(dict.fromkeys(place for row in plan.rows for place in row.devices))
    return [
        {
            "date": f"{row.begin.date()}",
            "time": f"{row.begin:%H:%M}",
            "athlete": row.athlete,
            "run": row.run,
            "start_foot": row.start_foot or "",
            "session": plan.session_of(row),
            **{f"{place}_device": row.devices.get(place, "") for place in places},
        }
        for row in plan.rows
    ]


def list_text(plan: Plan) -> str:
    """Return ``list.csv``."""
    rows = day_rows(plan)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]) if rows else LIST_HEADER, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def sheet_text(plan: Plan) -> str:
    """Return the sheet for the boards, a line for each session."""
    lines = []
    for session in plan.sessions:
        rows = [run.row for run in session.runs]
        runs = tuple((row.run, f"{row.begin:%H:%M}", row.start_foot or "") for row in rows)
        moved = ", ".join(f"{entry.row.begin:%H:%M}" for entry in session.movements)
        lines.append(Line(rows[0].athlete, worn_by(rows), runs, moved))
    days = [f"{day}" for day in sorted({row.begin.date() for row in plan.rows})]
    protocols = {row.protocol or "" for row in plan.rows}
    return sheet_page(
        " to ".join(dict.fromkeys((days[0], days[-1]))), protocols.pop() if len(protocols) == 1 else "", lines
    )


def as_data(prepared: Prepared) -> dict[str, Any]:
    """Return everything that was planned, for other programs."""
    sessions = [
        {
            "name": session.name,
            "athlete": session.runs[0].row.athlete,
            "there_already": session.name in prepared.kept,
            "runs": [
                {
                    "run": run.row.run,
                    "files": {place: log.source for place, log in run.logs.items()},
                    "gates": [list(gate) for gate in run.row.gates],
                }
                for run in session.runs
            ],
            "movements": [
                {
                    "kind": kind_of(entry.row),
                    "files": {place: log.source for place, log in entry.logs.items()},
                }
                for entry in session.movements
            ],
        }
        for session in prepared.plan.sessions
    ]
    return {
        "list": day_rows(prepared.plan),
        "sessions": sessions,
        "problems": list(prepared.problems),
        "notes": list(prepared.plan.notes),
    }
