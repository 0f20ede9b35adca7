"""Rules of `session.toml` beyond types: each check returns its problems, one line of text each.

A line says where, what was found, what was wanted and what to do.
"""

from __future__ import annotations

import re
from pathlib import PureWindowsPath
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.constants import SKATES

if TYPE_CHECKING:
    from pathlib import Path

TIME_UNITS = "s, ms, us, samples or date-time"
CODE = re.compile(r"[A-Za-z0-9]{1,32}")
RUN_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,63}(?<![ .])")
AXES = ("+x", "-x", "+y", "-y", "+z", "-z")
LONGEST_NAME = 255  # bytes, on all usual file systems
# Device names of Windows: files named after a code or a run could not be opened there.
RESERVED = frozenset(
    {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(1, 10))}
)


def is_code(text: str) -> bool:
    """Tell whether a text is an athlete's code that can also name a folder."""
    return CODE.fullmatch(text) is not None and text.upper() not in RESERVED


def is_run_name(text: str) -> bool:
    """Tell whether a text can name a run and its folder."""
    return RUN_NAME.fullmatch(text) is not None and text.split(".", maxsplit=1)[0].upper() not in RESERVED


def split_group(written: str) -> tuple[str, str | None]:
    """Split ``file.h5#/group`` at the last ``#`` followed by ``/``; the group is None without one."""
    file, mark, group = written.rpartition("#/")
    return (file, f"/{group}") if mark else (written, None)


def problems(raw: dict[str, Any], folder: Path) -> list[str]:
    """Return every problem of the file as written (TOML arrays as tuples).

    Wrong types are passed over: the schema reports them, in the same breath.
    """
    sensors, runs = _entries(raw, "sensors"), _entries(raw, "runs")
    found = _text_problems(raw)
    athlete = raw.get("athlete")
    if isinstance(athlete, str) and not is_code(athlete):
        found.append(f"athlete: found {athlete!r}; wanted a code of 1 to 32 letters and digits, never a name")
    for key in ("sensors", "runs"):
        if raw.get(key) == ():
            found.append(f"{key}: empty; wanted at least one [[{key}]] entry")
    places = [entry.get("place") for _, entry in sensors]
    found += [f"sensors: place {place!r} is declared twice; keep one" for place in _repeated(places)]
    for where, entry in (("", raw), *sensors):
        unit = _part(entry, "units").get("time", _part(raw, "units").get("time"))
        if "rate_hz" in entry and "time" in _part(entry, "columns") and unit != "samples":
            found.append(f"{where}.rate_hz: given beside columns.time; remove one of the two".strip("."))
    for where, sensor in sensors:
        found += [f"{where}.{problem}" for problem in _sensor_problems(sensor, raw)]
    found += _name_problems(runs)
    for where, entry in runs + _entries(raw, "movements"):
        found += _span_problems(where, entry)
        found += _place_problems(f"{where}.files", entry.get("files"), places)
        found += _path_problems(where, entry, folder.resolve())
    return found


def _sensor_problems(sensor: dict[str, Any], session: dict[str, Any]) -> list[str]:
    """Problems of a sensor with all it inherits: what is needed to read its files."""
    columns = {**_part(session, "columns"), **_part(sensor, "columns")}
    units = {**_part(session, "units"), **_part(sensor, "units")}
    whole = {**session, **sensor}
    timeless = "rate_hz" in whole
    found = _missing_problems(columns, units, timeless=timeless)
    names = [
        name
        for entry in (columns.get("time"), columns.get("acceleration"), columns.get("angular_velocity"))
        for name in (entry if isinstance(entry, tuple) else (entry,))
    ]
    if units.get("time") == "samples" and not timeless:
        found.append(
            "rate_hz: missing; a counter of samples has no time without it; declare the sampling rate"
        )
    found += [f"columns: {name!r} is used twice; wanted different columns" for name in _repeated(names)]
    in_counts = any(units.get(kind) == "counts" for kind in ("acceleration", "angular_velocity"))
    if in_counts and "calibration" not in sensor:
        found.append("calibration: missing; counts have no scale without it; declare the device's file")
    found += _axes_problems(sensor.get("axes"))
    delimiter, decimal, encoding = (whole.get(key) for key in ("delimiter", "decimal", "encoding"))
    if isinstance(delimiter, str) and (len(delimiter) != 1 or delimiter in '"\r\n'):
        found.append(f"delimiter: found {delimiter!r}; wanted one character, such as ';'")
    if decimal == "," and (delimiter is None or delimiter == ","):
        found.append("decimal: the comma is also the delimiter; declare the delimiter, such as ';'")
    if isinstance(encoding, str) and not _is_encoding(encoding):
        found.append(f"encoding: found {encoding!r}; wanted a name such as 'utf-8' or 'cp1252'")
    if "rocker_radius_m" in sensor and sensor.get("place") not in SKATES:
        found.append(f"rocker_radius_m: found at {sensor.get('place')}; wanted at a skate only; remove it")
    calibration = sensor.get("calibration")
    if isinstance(calibration, str) and not calibration.lower().endswith(".toml"):
        found.append(f"calibration: found {calibration!r}; wanted a .toml file")
    return found


def _missing_problems(columns: dict[str, Any], units: dict[str, Any], *, timeless: bool) -> list[str]:
    wanted = {
        "acceleration": ("three header names", "m/s^2, g or counts"),
        "angular_velocity": ("three header names", "deg/s, rad/s or counts"),
    }
    if not timeless or "time" in columns:
        wanted["time"] = ("a header name, or rate_hz for files without time", TIME_UNITS)
    found = [
        f"columns.{key}: missing; wanted {column}"
        for key, (column, _) in wanted.items()
        if key not in columns
    ]
    return found + [
        f"units.{key}: missing; wanted {unit}; units are never guessed, declare it under [units]"
        for key, (_, unit) in wanted.items()
        if key not in units and key in columns
    ]


def _name_problems(runs: list[tuple[str, dict[str, Any]]]) -> list[str]:
    names = [run["name"] for _, run in runs if isinstance(run.get("name"), str)]
    found = [
        f"runs: the name {name!r} is used twice (case does not count); rename one"
        for name in _repeated([name.casefold() for name in names])
    ]
    for where, run in runs:
        name = run.get("name")
        if isinstance(name, str) and not is_run_name(name):
            found.append(
                f"{where}.name: found {name!r}; wanted 1 to 64 letters, digits, spaces or . _ - "
                "that start with a letter or digit"
            )
    return found


def _span_problems(where: str, entry: dict[str, Any]) -> list[str]:
    start, end = entry.get("start_s"), entry.get("end_s")
    if isinstance(start, (int, float)) and isinstance(end, (int, float)) and start >= end:
        return [f"{where}.end_s: found {end}, not after start_s {start}; correct one"]
    return []


def _axes_problems(axes: Any) -> list[str]:
    if not (isinstance(axes, tuple) and len(axes) == 3 and all(axis in AXES for axis in axes)):
        return []  # the schema reports it
    rows = np.zeros((3, 3))
    for row, axis in zip(rows, axes, strict=True):
        row["xyz".index(axis[1])] = 1.0 if axis[0] == "+" else -1.0
    if round(float(np.linalg.det(rows))) == 1:
        return []
    found = f"axes: found {', '.join(axes)}; wanted the sensor axes that point forward, left and up"
    return [f"{found}, right-handed; check the mounting"]


def _place_problems(where: str, files: Any, places: list[Any]) -> list[str]:
    if not isinstance(files, dict):
        return []  # the schema reports it
    if not files:
        return [f"{where}: empty; wanted one file a sensor"]
    declared = ", ".join(str(place) for place in places) or "none"
    return [
        f"{where}.{place}: no sensor is declared there (declared: {declared}); "
        "add a [[sensors]] entry or correct the place"
        for place in files
        if place not in places
    ]


def _path_problems(where: str, entry: dict[str, Any], folder: Path) -> list[str]:
    files = {f"{where}.files.{place}": file for place, file in _part(entry, "files").items()}
    if "gates" in entry:
        files[f"{where}.gates"] = entry["gates"]
    return [
        f"{place}: found {written!r}; wanted a path inside the session folder, relative to it, without '..' "
        "or a link that leads out; copy the file into the folder"
        for place, written in files.items()
        if isinstance(written, str) and not is_inside(split_group(written)[0], folder)
    ]


def is_inside(written: str, folder: Path) -> bool:
    """Tell whether a written path stays inside a folder, also on Windows and through links."""
    steps = written.replace("\\", "/").split("/")
    if (
        not written
        or not written.isprintable()
        or ".." in steps
        or not steps[0]
        or PureWindowsPath(written).drive
    ):
        return False
    if any(
        step.split(".", maxsplit=1)[0].upper() in RESERVED or len(step.encode()) > LONGEST_NAME
        for step in steps
    ):
        return False
    try:
        return (folder / written).resolve().is_relative_to(folder)
    except (OSError, RuntimeError):  # links that lead in a circle
        return False


def _text_problems(value: Any, where: str = "") -> list[str]:
    """Find control characters in any text: they could forge lines of output or of a table."""
    if isinstance(value, dict):
        return [
            problem
            for key, entry in value.items()
            for problem in (
                *_text_problems(key, f"{where} key".strip()),
                *_text_problems(entry, f"{where}.{key}".strip(".")),
            )
        ]
    if isinstance(value, tuple):
        return [
            problem for i, entry in enumerate(value) for problem in _text_problems(entry, f"{where}[{i}]")
        ]
    if isinstance(value, str) and value != "\t" and not value.isprintable():
        return [f"{where!r}: found a control character in {value!r}; remove it"]
    return []


def _part(entry: dict[str, Any], key: str) -> dict[str, Any]:
    value = entry.get(key)
    return value if isinstance(value, dict) else {}


def _entries(raw: dict[str, Any], key: str) -> list[tuple[str, dict[str, Any]]]:
    value = raw.get(key)
    if not isinstance(value, tuple):
        return []
    return [(f"{key}[{i}]", entry) for i, entry in enumerate(value) if isinstance(entry, dict)]


def _repeated(values: list[Any]) -> list[str]:
    return sorted({value for value in values if isinstance(value, str) and values.count(value) > 1})


def _is_encoding(name: str) -> bool:
    """Tell whether a name is one of an encoding of text; base64 and the like are codecs too."""
    try:
        return ",1\n".encode(name).decode(name) == ",1\n"
    except (LookupError, ValueError):
        return False
