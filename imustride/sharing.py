"""Sessions in open formats: every recording read as it is analysed, written by the exporting stage."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

from imustride.errors import FileFormatError, ImustrideError, SettingsError
from imustride.exporting import motion_bids
from imustride.exporting.digests import sha256
from imustride.exporting.results_folder import verify
from imustride.exporting.swap import repair, swapped_in
from imustride.loaders import load, open_session, read_gates
from imustride.pipeline import analyse_session, write_session
from imustride.reading import told

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from imustride.session import Movement, Run, Session


def export_bids(folder: Path, out: Path, results: Path | None = None) -> tuple[str, ...]:
    """Write a session and its results as a Motion-BIDS dataset, whole or not at all.

    Parameters
    ----------
    folder : Path
        Session folder.
    out : Path
        Folder to make.
    results : Path, optional
        Of the same session; without it the session is analysed.

    Returns
    -------
    tuple of str
        One line for each file that could not be read, and is not in the dataset.

    Raises
    ------
    FileFormatError
        If the session cannot be read, or the results were changed or come of other files.
    SettingsError
        If there is something at `out`.
    OSError
        If the dataset cannot be written.
    """
    out = out.resolve()
    check_new(out)
    session = open_session(folder)
    problems: list[str] = []
    with swapped_in(out) as partial:
        place = partial / motion_bids.results_place(session)
        if results is None:
            write_session(analyse_session(folder), place)
        else:
            _check_same(session, results)
            shutil.copytree(results, place)
        gated = []
        for number, run in enumerate(session.runs, 1):
            gates = _gates(session, run, problems)
            motion_bids.write_events(partial, session, number, run, gates)
            gated += [] if gates is None else [run.name]
        motion_bids.write_dataset(partial, session, _recorded(session, gated, problems))
    return tuple(problems)


def check_new(out: Path) -> None:
    """Refuse to write where something is.

    Raises
    ------
    SettingsError
        If `out` is a file or a folder with anything in it.
    """
    repair(out)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        message = (
            f"{out}: found something there; wanted a new or empty folder; choose another or move it away"
        )
        raise SettingsError(message)


def _check_same(session: Session, results: Path) -> None:
    """Refuse results that come of other files than the session's."""
    inputs: dict[str, str] = verify(results).get("inputs", {})
    for name, wanted in inputs.items():
        path = session.folder / name
        if not path.is_file() or sha256(path) != wanted:
            message = (
                f"{results}: results of another {name} than that of the session; analyse the session again"
            )
            raise FileFormatError(message)


def _gates(session: Session, run: Run, problems: list[str]) -> Any:
    if run.gates is None:
        return None
    try:
        return read_gates(session.path(run.gates))
    except (ImustrideError, OSError) as error:
        problems.append(told(error))
        return None


def _recorded(session: Session, gated: list[str], problems: list[str]) -> Iterator[motion_bids.Recorded]:
    """Give every file once, with the runs it holds."""
    for place, written in dict.fromkeys(
        (place, written) for run in session.runs for place, written in run.files.items()
    ):
        held = [
            (number, run) for number, run in enumerate(session.runs, 1) if run.files.get(place) == written
        ]
        runs = [_run_facts(session, number, run, gated) for number, run in held]
        number, run = held[0]
        yield from _one(session, run, place, session.protocol, number, {"Runs": runs}, problems)
    for number, movement in enumerate(session.movements, 1):
        for place in movement.files:
            holds = {"Movement": movement.kind}
            yield from _one(session, movement, place, movement.name, number, holds, problems)


def _one(
    session: Session,
    entry: Run | Movement,
    place: str,
    task: str,
    number: int,
    holds: dict[str, Any],
    problems: list[str],
) -> Iterator[motion_bids.Recorded]:
    try:
        log = load(session, entry, place)
    except (ImustrideError, OSError) as error:
        problems.append(f"{entry.name}: {told(error)}")
        return
    yield motion_bids.Recorded(log, log.sensor.columns.time is not None, task, number, holds)


def _run_facts(session: Session, number: int, run: Run, gated: list[str]) -> dict[str, Any]:
    facts = {"number": number, "name": run.name, "start_s": run.start_s, "end_s": run.end_s}
    if run.name in gated:
        facts["gates"] = motion_bids.events_file(session, number)
    return {key: value for key, value in facts.items() if value is not None}
