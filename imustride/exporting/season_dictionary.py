"""The data dictionary of tables of a season: what every column means, for one row a push, a run or a session."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride.exporting.dictionary import PUSHES, RUNS, SYMMETRY, Column, field

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from imustride.registry import Metric

_SESSION: Mapping[str, Column] = {
    "athlete": Column("string", "", "code of the athlete"),
    "date": Column("date", "", "day of the session"),
    "session": Column("string", "", "name of the session's folder"),
    "revision": Column("integer", "", "1, and one more for every time the session was corrected"),
    "superseded_at": Column("string", "", "when it was corrected by a later revision; empty: it counts"),
    "protocol": Column("string", "", "what was done; only equal labels are compared"),
    "surface": Column("string", "", "ice or synthetic"),
}
_SESSIONS: Mapping[str, Column] = {
    "birth_year": Column("integer", "", "year of birth of the athlete"),
    "added_at": Column("string", "", "when it was added to the store, UTC"),
    "runs": Column("integer", "", "number of runs"),
    "rate_hz": Column("number", "Hz", "lowest sampling rate of the skates' sensors"),
    "bandwidth_hz": Column("number", "Hz", "lowest declared low pass of the skates' sensors"),
    "mount": Column("string", "", "where on the skate the sensors sat"),
    "calibration": Column("string", "", "which of the skates' sensors were calibrated: both, one or none"),
    "conditions": Column("string", "", "declared conditions, JSON"),
    "sensors": Column("string", "", "every sensor as declared, its rate as measured, JSON"),
    "definitions": Column("string", "", "definition numbers by metric, JSON"),
    "settings_digest": Column("string", "", "SHA-256 of the settings of the analysis"),
    "product_version": Column("string", "", "version of the program that analysed the session"),
}
KNOWN: Mapping[str, Mapping[str, Column]] = {
    "pushes": {**_SESSION, **PUSHES, "usable": RUNS["usable"]},
    "runs": {**_SESSION, **RUNS},
    "sessions": {**_SESSION, **_SESSIONS},
    "symmetry": {**_SESSION, **SYMMETRY},
}
KEYS: Mapping[str, Sequence[str]] = {
    "pushes": ("athlete", "date", "session", "revision", "run", "side", "push"),
    "runs": ("athlete", "date", "session", "revision", "run"),
    "sessions": ("athlete", "date", "session", "revision"),
    "symmetry": ("athlete", "date", "session", "revision", "phase", "metric"),
}


def season_package(
    heads: Mapping[str, pd.DataFrame],
    files: Mapping[str, Sequence[tuple[str, str, int]]],
    metrics: Mapping[str, Metric],
) -> dict[str, Any]:
    """Describe the tables of a season.

    Parameters
    ----------
    heads : mapping of str to DataFrame
        By the name of the table: some of its rows, or none.
    files : mapping of str to sequence of (str, str, int)
        The files of each table: name, SHA-256, size in bytes.
    metrics : mapping of str to Metric
        Descriptors by column name.

    Returns
    -------
    dict
        Plain data for JSON.
    """
    resources = []
    for name, head in heads.items():
        fields = [field(column, head, KNOWN[name], metrics) for column in map(str, head.columns)]
        for file, digest, size in files[name]:
            kind = file.rpartition(".")[2]
            text = {
                "encoding": "utf-8",
                "dialect": {"delimiter": ",", "lineTerminator": "\n", "header": True},
            }
            resources.append(
                {
                    "name": name if kind == "csv" else f"{name}-{kind}",
                    "path": file,
                    "format": kind,
                    "mediatype": "text/csv" if kind == "csv" else "application/vnd.apache.parquet",
                    "bytes": size,
                    "hash": f"sha256:{digest}",
                    **({"profile": "tabular-data-resource", **text} if kind == "csv" else {}),
                    "schema": {"fields": fields, "missingValues": [""], "primaryKey": list(KEYS[name])},
                }
            )
    return {"profile": "data-package", "name": "imustride-season", "resources": resources}
