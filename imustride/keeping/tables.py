"""Tidy tables of a season in open formats: one row a push, a run or a session."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from imustride.errors import StoreError
from imustride.exporting.digests import sha256
from imustride.exporting.own_folder import own_folder, write_json
from imustride.exporting.season_dictionary import season_package
from imustride.exporting.tables import csv_text
from imustride.registry import methods

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    import pandas as pd

    from imustride.season.reading import Chosen
    from imustride.season.store import Store

Row = Literal["push", "run", "session"]
Kind = Literal["csv", "parquet"]
TABLES: dict[Row, tuple[str, ...]] = {
    "push": ("sessions", "pushes"),
    "run": ("sessions", "runs"),
    "session": ("sessions", "symmetry"),
}


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: rows by table, and who was left out and why."""

    out: Path
    rows: dict[str, int]
    athletes: tuple[str, ...]
    left_out: dict[str, str] = field(default_factory=dict)


def write_season_table(
    store: Store,
    out: Path,
    *,
    row: Row,
    chosen: Chosen,
    kinds: Sequence[Kind] = ("csv",),
    dry_run: bool = False,
) -> Written:
    """Write a folder with the table of a season, that of its sessions beside it, and what every column means.

    Parameters
    ----------
    store : Store
    out : Path
        An earlier folder of this program is replaced.
    row : {"push", "run", "session"}
        What one row is; with sessions comes their symmetry, one row a metric and phase.
    chosen : Chosen
        Athletes without valid consent are left out, and told.
    kinds : sequence of {"csv", "parquet"}
    dry_run : bool
        Tell, write nothing.

    Raises
    ------
    StoreError
        If nobody is left, or Parquet is wanted and its extra is missing.
    SettingsError
        If `out` is there and is no folder of this program.
    OSError
        If the folder cannot be written.
    """
    from imustride.exporting import check_target
    from imustride.season.consented import consented
    from imustride.season.outputs import note_outputs

    check_target(out)
    codes, left_out = consented(store, chosen)
    if not codes:
        reasons = "; ".join(f"{code}: {reason}" for code, reason in left_out.items())
        message = (
            f"{store.shown}: no athlete whose sessions may be put in a table; {reasons or 'no sessions'}"
        )
        raise StoreError(message)
    if dry_run:
        return Written(out, {}, codes, left_out)
    about = {"kind": "table", "athletes": list(codes)}
    # First noted, then written: what is written is found again by whoever forgets an athlete.
    note_outputs(store, out, "table", codes)
    rows = write_tables(store, out, about, TABLES[row], chosen.only(codes), kinds)
    return Written(out, rows, codes, left_out)


def write_tables(
    store: Store,
    out: Path,
    about: dict[str, Any],
    names: Sequence[str],
    chosen: Chosen,
    kinds: Sequence[Kind],
    further: Iterable[tuple[str, Path]] = (),
) -> dict[str, int]:
    """Write tables of the store to a folder of our own, part by part; return how many rows each has.

    Parameters
    ----------
    store : Store
    out : Path
    about : dict
        For the provenance.
    names : sequence of str
        Of ``sessions``, ``runs``, ``pushes``, ``symmetry``.
    chosen : Chosen
    kinds : sequence of {"csv", "parquet"}
    further : iterable of (str, Path)
        Files to copy beside them, by their new names.
    """
    import shutil

    heads, rows = {}, {}
    with own_folder(out, about) as folder:
        for name in names:
            heads[name], rows[name] = _write(folder, name, _parts(store, name, chosen), kinds)
        for name, source in further:
            shutil.copyfile(source, folder / name)
        files = {name: [_file(folder / f"{name}.{kind}") for kind in kinds] for name in names}
        write_json(folder / "datapackage.json", season_package(heads, files, methods("metrics")))
    return rows


def _file(path: Path) -> tuple[str, str, int]:
    return path.name, sha256(path), path.stat().st_size


def _parts(store: Store, name: str, chosen: Chosen) -> Iterator[pd.DataFrame]:
    from imustride.season import reading

    if name == "pushes":
        yield from reading.stream_pushes(store, chosen)
        return
    read = {"sessions": reading.read_sessions, "runs": reading.read_runs, "symmetry": reading.read_symmetry}
    yield read[name](store, chosen)


def _write(
    folder: Path, name: str, parts: Iterable[pd.DataFrame], kinds: Sequence[Kind]
) -> tuple[pd.DataFrame, int]:
    """Write a table part by part in every format; return its first part without rows, and the number of rows."""
    import pandas as pd

    head, rows = pd.DataFrame(), 0
    with ExitStack() as open_files:
        text = None
        if "csv" in kinds:
            text = open_files.enter_context(
                (folder / f"{name}.csv").open("w", encoding="utf-8", newline="\n")
            )
        parquet = None
        for part in map(_flat, parts):
            if text is not None:
                body = csv_text(part)
                text.write(body if not rows else body.partition("\n")[2])
            if "parquet" in kinds:
                import pyarrow as pa
                from pyarrow.parquet import ParquetWriter

                table = pa.Table.from_pandas(part, preserve_index=False)
                if parquet is None:
                    writer = ParquetWriter(folder / f"{name}.parquet", table.schema)
                    parquet = open_files.enter_context(writer)
                parquet.write_table(table.cast(parquet.schema))
            head, rows = part.iloc[:0], rows + len(part)
    return head, rows


def _flat(part: pd.DataFrame) -> pd.DataFrame:
    """Return a table with its cells of dicts and lists as JSON text."""
    from imustride.season.packing import to_json

    nested = [name for name in ("conditions", "sensors", "definitions") if name in part]
    return part.assign(**{name: part[name].map(to_json) for name in nested}) if nested else part


def check_parquet() -> None:
    """Refuse Parquet where its library is missing.

    Raises
    ------
    StoreError
        With the command that installs it.
    """
    from importlib.util import find_spec

    if find_spec("pyarrow") is None:
        message = "--format: Parquet needs an extra: python -m pip install 'imustride[research]'"
        raise StoreError(message)
