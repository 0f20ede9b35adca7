"""A folder of tables that this program wrote and may replace or remove again: it tells so in its provenance."""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.exporting.digests import sha256
from imustride.exporting.results_folder import PROGRAM, PROVENANCE, check_target
from imustride.exporting.swap import swapped_in

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path


@contextmanager
def own_folder(out: Path, about: Mapping[str, Any]) -> Iterator[Path]:
    """Give a new folder to write files into; it appears at `out`, whole, with its provenance, or not at all.

    Parameters
    ----------
    out : Path
        An earlier folder of this program is replaced.
    about : mapping
        What the provenance tells beside the program, its version and the fingerprints of the files.

    Raises
    ------
    SettingsError
        If `out` is there and is not such a folder.
    OSError
        If the folder cannot be written.
    """
    out = out.resolve()
    check_target(out)
    with swapped_in(out) as folder:
        yield folder
        provenance = {
            "program": PROGRAM,
            "version": __version__,
            **about,
            "files": {path.name: sha256(path) for path in sorted(folder.iterdir())},
        }
        write_json(folder / PROVENANCE, provenance)


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write plain data as JSON text."""
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    path.write_text(f"{text}\n", encoding="utf-8", newline="\n")
