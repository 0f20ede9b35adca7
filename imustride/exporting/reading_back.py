"""Results folders read back: every table with the kinds of its columns that the data dictionary tells."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from imustride.errors import FileFormatError
from imustride.exporting.results_folder import FORMAT, verify

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

TABLES = ("pushes", "runs", "symmetry")
KINDS = {"number": "float64", "integer": "Int64", "boolean": "boolean", "string": "str"}


def read_results(folder: Path) -> tuple[dict[str, Any], dict[str, pd.DataFrame]]:
    """Read a results folder after checking every file against its fingerprint.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    provenance : dict
    tables : dict of str to DataFrame
        ``pushes``, ``runs`` and ``symmetry``; text that is missing is empty.

    Raises
    ------
    FileFormatError
        If it is no results folder, was changed, or is of a version that this program does not know.
    OSError
        If a file cannot be read.
    """
    provenance = verify(folder)
    _check_known(provenance, folder)
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    fields = {resource["name"]: resource["schema"]["fields"] for resource in described["resources"]}
    return provenance, {name: _read(folder / f"{name}.csv", fields[name]) for name in TABLES}


def _check_known(provenance: dict[str, Any], folder: Path) -> None:
    found = provenance.get("format")
    if found == FORMAT:
        return
    made_by = f"made by version {provenance.get('version', 'unknown')}"
    newer = isinstance(found, int) and found > FORMAT
    remedy = (
        "update the program: python -m pip install --upgrade imustride"
        if newer
        else "analyse the session again"
    )
    message = (
        f"{folder}: results of format {found or 'unknown'} ({made_by}), wanted format {FORMAT}; {remedy}"
    )
    raise FileFormatError(message)


def _read(path: Path, fields: list[dict[str, Any]]) -> pd.DataFrame:
    import pandas as pd

    kinds = {field["name"]: field["type"] for field in fields}
    texts = [name for name, kind in kinds.items() if kind == "string"]
    table = pd.read_csv(
        path,
        dtype={name: KINDS[kind] for name, kind in kinds.items()},
        keep_default_na=False,
        na_values={name: [] if name in texts else [""] for name in kinds},
        true_values=["true"],
        false_values=["false"],
    )
    table[texts] = table[texts].fillna("")
    return table
