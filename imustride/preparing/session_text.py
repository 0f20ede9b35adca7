"""The text of ``session.toml`` and of a file of gates."""

from __future__ import annotations

import json
import math
import os
import re
from typing import TYPE_CHECKING, Any

from imustride.preparing.movements import kind_of
from imustride.preparing.plan import worn_by

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from imustride.preparing.kit import Kit
    from imustride.preparing.plan import PlannedRun, PlannedSession

FILE_OPTIONS = ("rate_hz", "delimiter", "decimal", "encoding")


def _sensors(session: PlannedSession, kit: Kit, folder: Path) -> list[dict[str, Any]]:
    """What is said of every sensor worn in a planned session."""
    sensors = []
    pieces = [log.piece for run in session.runs for log in run.logs.values() if log.piece is not None]
    in_seconds = {
        piece.sensor.place for piece in pieces if (piece.sensor.units.time or "").startswith("date-time")
    }
    for place, device in worn_by([entry.row for entry in session.recordings]).items():
        entry = kit.sensor(place, device)
        calibration = kit.calibration(device, session.runs[0].row.begin.date())
        if calibration is not None:
            entry["calibration"] = _from(folder, calibration)
        if place in in_seconds:  # date-times are seconds of the day in a piece
            entry["units"] = entry.get("units", {}) | {"time": "s"}
        sensors.append(entry)
    return sensors


def content(session: PlannedSession, kit: Kit, folder: Path) -> dict[str, Any]:
    """What ``session.toml`` of a planned session says.

    Parameters
    ----------
    session : PlannedSession
    kit : Kit
    folder : Path
        Where the session will be; calibrations are named from there.
    """
    row = session.runs[0].row
    shared = dict(kit.shared)
    conditions = {
        **shared.pop("conditions", {}),
        **{name: _value(text) for name, text in row.conditions.items()},
    }
    found: dict[str, Any] = {
        "athlete": row.athlete,
        "date": row.begin.date(),
        "surface": row.surface or shared.get("surface"),
        "protocol": row.protocol or shared.get("protocol"),
        "consent": row.consent,
        **{key: shared.get(key) for key in ("latitude_deg", *FILE_OPTIONS)},
        "conditions": conditions,
        "body": row.body,
        "columns": shared.get("columns", {}),
        "units": shared.get("units", {}),
    }
    sensors = _sensors(session, kit, folder)
    runs = []
    for run in session.runs:
        entry = {
            "name": run.row.run,
            "files": _files(run),
            "gates": f"{run.row.run}/gates.csv" if run.row.gates else None,
            "start_s": run.row.start_s,
            "end_s": run.row.end_s,
        }
        runs.append({key: value for key, value in entry.items() if value is not None})
    kept = {key: value for key, value in found.items() if value not in ({}, None)}
    movements = []
    for moved in session.movements:
        entry = {
            "kind": kind_of(moved.row),
            "files": _files(moved),
            "start_s": moved.row.start_s,
            "end_s": moved.row.end_s,
        }
        movements.append({key: value for key, value in entry.items() if value is not None})
    return {**kept, "sensors": sensors, "runs": runs, **({"movements": movements} if movements else {})}


def _files(entry: PlannedRun) -> dict[str, str]:
    return {place: log.target + (f"#{log.group}" if log.group else "") for place, log in entry.logs.items()}


def toml_text(content: Mapping[str, Any]) -> str:
    """Write the content of a session file as TOML: values, then tables, then lists of tables."""
    lines = [f"{key} = {_toml(value)}" for key, value in content.items() if not _is_table(value)]
    for key, value in content.items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]", *(f"{_key(name)} = {_toml(entry)}" for name, entry in value.items())]
    for key, value in content.items():
        if _is_table(value) and not isinstance(value, dict):
            for entry in value:
                lines += ["", f"[[{key}]]", *(f"{_key(name)} = {_toml(one)}" for name, one in entry.items())]
    return "\n".join(lines) + "\n"


def gates_text(gates: tuple[tuple[float, float], ...]) -> str:
    """Write gate times as the contract wants them."""
    return "".join(["position_m,time_s\n", *(f"{position_m!r},{time_s!r}\n" for position_m, time_s in gates)])


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list | tuple) and value != [] and isinstance(value[0], dict)
    )


def _key(name: str) -> str:
    """A key as TOML wants it: with quotes where it is no plain word."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name, ensure_ascii=False)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # without control characters, JSON's strings are TOML's
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_toml(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(entry) for entry in value) + "]"
    return str(value)


def _value(text: str) -> str | float | bool:
    """A condition as number or truth where it looks like one."""
    if text.casefold() in {"true", "false", "yes", "no"}:
        return text.casefold() in {"true", "yes"}
    try:
        number = float(text)
    except ValueError:
        return text
    return number if math.isfinite(number) else text


def _from(folder: Path, calibration: Path) -> str:
    """Return a calibration's path from a session folder; absolute where they share no root."""
    try:
        return os.path.relpath(calibration.resolve(), folder.resolve()).replace("\\", "/")
    except ValueError:
        return calibration.resolve().as_posix()
