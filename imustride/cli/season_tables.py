"""``imustride season table`` and ``export``: the season in open formats."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from imustride.cli.season_options import DAY, iso, store_option
from imustride.cli.talk import Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    import datetime as dt

OUT = click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder to write; an earlier one is replaced.",
)


@click.command(epilog="Example: imustride season table --row run --format csv --format parquet --out tables")
@OUT
@click.option(
    "--row",
    type=click.Choice(["push", "run", "session"]),
    default="run",
    show_default=True,
    help="What one row is.",
)
@click.option(
    "--format",
    "kinds",
    multiple=True,
    type=click.Choice(["csv", "parquet"]),
    default=("csv",),
    show_default=True,
    help="May be repeated. Parquet: extra research.",
)
@click.option("--athlete", "athletes", multiple=True, metavar="CODE", help="Only this one; may be repeated.")
@click.option("--from", "since", type=DAY, help="First day.")
@click.option("--to", "until", type=DAY, help="Last day.")
@store_option
@dry_run_option
@talk_options
def table(
    talk: Talk,
    place: str | None,
    out: Path,
    row: Literal["push", "run", "session"],
    kinds: tuple[Literal["csv", "parquet"], ...],
    athletes: tuple[str, ...],
    since: dt.datetime | None,
    until: dt.datetime | None,
    *,
    dry_run: bool,
) -> None:
    """Write a tidy table, one row a push, run or session, with what every column means (datapackage.json).

    Athletes without valid consent are left out, with the reason.
    """
    from imustride import keeping
    from imustride.keeping.tables import check_parquet
    from imustride.season.reading import Chosen
    from imustride.season.store import open_store

    if "parquet" in kinds:
        check_parquet()
    chosen = Chosen(athletes or None, iso(since), iso(until))
    store = open_store(place)
    written = keeping.write_season_table(store, out, row=row, chosen=chosen, kinds=kinds, dry_run=dry_run)
    for code, reason in written.left_out.items():
        talk.problem(f"{code}: left out: {reason}")
    talk.data(
        {"out": out, "rows": written.rows, "athletes": list(written.athletes), "left_out": written.left_out}
    )
    rows = ", ".join(f"{count} {name}" for name, count in written.rows.items()) or "nothing written (dry run)"
    talk.lines([f"{out}: {len(written.athletes)} athletes, {rows}"])


@click.command(epilog="Example: imustride season export --athlete A07 --out A07-everything")
@click.option("--athlete", required=True, metavar="CODE", help="Whose data.")
@OUT
@store_option
@dry_run_option
@talk_options
def export(talk: Talk, place: str | None, athlete: str, out: Path, *, dry_run: bool) -> None:
    """Write everything there is about one person: all rows with their history, consents, files, archived raw logs."""
    from imustride import keeping
    from imustride.season.store import open_store

    rows = keeping.export_athlete(open_store(place), athlete, out, dry_run=dry_run)
    talk.data({"athlete": athlete, "out": out, "rows": rows})
    said = ", ".join(f"{count} {name}" for name, count in rows.items())
    talk.lines([f"{out}: {said}{' (dry run, nothing written)' if dry_run else ''}"])
