"""``imustride season add``: results folders into the store."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.failures import FAILURES, report
from imustride.cli.season_options import store_option
from imustride.cli.talk import DONE, INCOMPLETE, Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    from imustride.season.adding import Added


@click.command(epilog="Example: imustride season add results --raw recordings/demo --archive")
@click.argument("results", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RESULTS...")
@click.option(
    "--raw",
    multiple=True,
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Session folder, or a folder of them: where the raw logs are is noted. May be repeated.",
)
@click.option("--archive", is_flag=True, help="Copy the raw logs found by --raw beside the store.")
@store_option
@dry_run_option
@talk_options
def add(
    talk: Talk,
    place: str | None,
    results: tuple[Path, ...],
    raw: tuple[Path, ...],
    *,
    archive: bool,
    dry_run: bool,
) -> int:
    """Add the RESULTS folders of `imustride analyse`, or folders of such folders.

    Safe to repeat: what is there already changes nothing, what was corrected takes the place of the former, which is
    kept as history. A folder that is refused does not keep the others out.
    """
    from imustride import keeping
    from imustride.season.store import open_store

    if archive and not raw:
        message = "--archive needs --raw: the folder in which the raw logs are looked for"
        raise click.UsageError(message)
    store = open_store(place, create=True)
    told, statuses = [], set()
    for folder in _results(results):
        try:
            added = keeping.add_results(store, folder, raw=raw, archive=archive, dry_run=dry_run)
        except FAILURES as error:
            statuses.add(report(error, talk))
            told.append({"results": folder, "error": str(error)})
            continue
        statuses.add(DONE)
        told.append({"results": folder, **_told(added)})
        talk.lines([_line(added, dry_run=dry_run)])
        for note in added.notes:
            talk.problem(f"{folder}: {note}")
    talk.data({"store": store.shown, "sessions": told})
    return statuses.pop() if len(statuses) == 1 else INCOMPLETE


def _results(named: tuple[Path, ...]) -> list[Path]:
    """Return the results folders: those named, and those in a folder that is none itself."""
    found = []
    for folder in named:
        below = sorted(path.parent for path in folder.glob("*/provenance.json"))
        found += below if below and not (folder / "provenance.json").exists() else [folder]
    return list(dict.fromkeys(found))


def _told(added: Added) -> dict[str, Any]:
    return asdict(added)


def _line(added: Added, *, dry_run: bool) -> str:
    corrected = f" (revision {added.revision}; the former is kept as history)"
    what = {"added": "added", "unchanged": "unchanged", "corrected": f"corrected{corrected}"}[added.status]
    kept = " (dry run, not kept)" if dry_run else ""
    return (
        f"{added.athlete}, {added.date}, {added.name}: {what}, {added.runs} runs, {added.pushes} pushes{kept}"
    )
