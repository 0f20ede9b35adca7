"""JSON Schema (draft 2020-12) of ``session.toml`` and of every table of a results folder.

That of the session comes from the records that read it, those of the tables from the data dictionary: neither is
written down twice. A table is described as programs read it: one object a row, numbers as numbers, null where the
file is empty.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from imustride.constants import PLACES, SIDES
from imustride.exporting.dictionary import FIGURES, KEYS, OF_GATES, PUSHES, RUNS, SEGMENTS, SYMMETRY
from imustride.session import Session
from imustride.session_checks import CODE, RUN_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from imustride.exporting.dictionary import Column
    from imustride.registry import Metric

DIALECT = "https://json-schema.org/draft/2020-12/schema"
# Rules of `imustride.session_checks` that a schema cannot say.
RULES = (
    "TOML dates are told here as their ISO 8601 text",
    "units and columns hold for every sensor that declares none of its own, key by key",
    "in the end each sensor has all units and columns, or rate_hz in the place of those of time",
    "rate_hz stands beside columns.time only where units.time is samples, and has to there",
    "a place is declared once, a run's name used once (case does not count); columns of a sensor differ",
    "counts need a calibration, which is a .toml file",
    "axes are right-handed",
    "a delimiter is one character, and no comma beside a decimal comma; encoding names an encoding of text",
    "rocker_radius_m goes with skates",
    "files name places that are declared; files and gates lie inside the session folder; HDF5: file.h5#/group",
    "end_s is after start_s",
    "names of devices of Windows, and control characters anywhere, are refused",
)


def session_schema() -> dict[str, Any]:
    """Return the schema of ``session.toml`` as plain data for JSON."""
    schema = _as_toml(Session.model_json_schema())
    schema["properties"].pop("folder")  # where the file lies is no key of it
    schema["required"].remove("folder")
    schema["properties"]["athlete"]["pattern"] = f"^{CODE.pattern}$"
    run = schema["$defs"]["Run"]["properties"]
    run["name"]["pattern"] = f"^{RUN_NAME.pattern}$"
    for files in (run["files"], schema["$defs"]["Movement"]["properties"]["files"]):
        files["minProperties"] = 1
    for name in ("sensors", "runs"):
        schema["properties"][name]["minItems"] = 1
    described = f"{schema['description'].split('.')[0]}. Beyond what this schema says: {'; '.join(RULES)}."
    return {"$schema": DIALECT, **schema, "title": "session.toml", "description": described}


def _as_toml(part: Any) -> Any:
    """Return a part of a schema without what TOML has no form for: null, and names that only repeat the key."""
    if isinstance(part, list):
        return [_as_toml(one) for one in part]
    if not isinstance(part, dict):
        return part
    kept = {
        key: _as_toml(value)
        for key, value in part.items()
        if key != "default" and not (key == "title" and isinstance(value, str))
    }
    choices = [one for one in kept.get("anyOf", ()) if one != {"type": "null"}]
    if not choices:
        return kept
    kept.pop("anyOf")
    return {**kept, **choices[0]} if len(choices) == 1 else {**kept, "anyOf": choices}


def table_schemas(
    push_columns: Sequence[str], metrics: Mapping[str, Metric], words: Mapping[str, Sequence[str]]
) -> dict[str, dict[str, Any]]:
    """Return the schema of every table, by its name without ``.csv``; ``figure`` is that of all ``figure-*.csv``.

    Parameters
    ----------
    push_columns : sequence of str
        Columns of ``pushes.csv`` in order.
    metrics : mapping of str to Metric
        Descriptors by column name.
    words : mapping of str to sequence of str
        Words that there are, by column: ``phase``, ``verdict``, ``flags`` (any of them, joined by ``;``).
    """
    told = _told(words)
    measured = {name: _metric(metric) for name, metric in metrics.items()}
    pushes = {
        name: measured[name] if name in measured else _column(PUSHES[name], told.get(name, {}))
        for name in push_columns
    }
    gates = {f"^{pattern}$": _column(_any_gate(column), {}) for pattern, column in OF_GATES.items()}
    of_symmetry = {**told, "phase": {"enum": [*words["phase"], "all"]}}
    return {
        "pushes": _table("pushes", pushes),
        "runs": _table("runs", _columns(RUNS, told), gates),
        "symmetry": _table("symmetry", _columns(SYMMETRY, of_symmetry)),
        "segments": _table("segments", _columns(SEGMENTS, {"place": {"enum": list(PLACES)}})),
        "figure": _table("figure", {**measured, **_columns(FIGURES, told)}),
    }


def _told(words: Mapping[str, Sequence[str]]) -> dict[str, dict[str, Any]]:
    """Return what is known of the texts and numbers in some columns."""
    flag = f"({'|'.join(words['flags'])})"
    return {
        "side": {"enum": list(SIDES)},
        "phase": {"enum": list(words["phase"])},
        "verdict": {"enum": list(words["verdict"])},
        "flags": {"pattern": f"^{flag}(;{flag})*$"},
        "clock": {"enum": [*PLACES, None]},
        "start_foot": {"enum": [*SIDES, None]},
        "push": {"minimum": 0},
    }


def _columns(known: Mapping[str, Column], told: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    return {name: _column(column, told.get(name, {})) for name, column in known.items()}


def _column(column: Column, told: Mapping[str, Any]) -> dict[str, Any]:
    unit = {"unit": column.unit} if column.unit else {}
    return {"type": [column.kind, "null"], **unit, "description": column.description, **told}


def _metric(metric: Metric) -> dict[str, Any]:
    told = {"unit": metric.unit, "description": metric.definition}
    return {"type": ["number", "null"], **told, "definition_number": metric.number, "source": metric.source}


def _any_gate(column: Column) -> Column:
    return replace(column, description=column.description.format(gate="n", next="n + 1"))


def _table(name: str, columns: dict[str, Any], patterns: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return the schema of the rows of a table; of a figure's it has some of the columns only."""
    for key in KEYS.get(name, ()):
        columns[key] = {**columns[key], "type": columns[key]["type"][0]}  # never empty
    row = {
        "type": "object",
        "properties": columns,
        **({"patternProperties": patterns} if patterns else {}),
        "required": list(columns) if name in KEYS else [],
        "additionalProperties": False,
    }
    title = "figure-*.csv" if name == "figure" else f"{name}.csv"
    return {"$schema": DIALECT, "title": title, "type": "array", "items": row}
