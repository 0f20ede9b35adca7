"""What a calibration file will say, never over another one silently."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.calibration.file import read_calibration
from imustride.errors import CalibrationError, SettingsError
from imustride.session_checks import RESERVED
from imustride.toml_text import parse_toml

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from imustride.calibration.triad import Triad

DEVICE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,31}")
TRIADS = ("accelerometer", "gyroscope")
SI_UNIT = {"accelerometer": "m_s2", "gyroscope": "rad_s"}
HEAD = "# corrected = matrix @ (raw - bias), sensor axes. 95 % intervals: standard errors (_sd) times interval.\n"


@dataclass(frozen=True, slots=True)
class Part:
    """What one calibration says of one triad: a table of the file.

    Parameters
    ----------
    name : str
        ``accelerometer`` or ``gyroscope``.
    content : dict
        Of the table.
    residuals : dict of str to float
        For the table of residuals; every name begins with that of the triad.
    measured : bool
        Whether scale and skew were measured; where not, what an earlier file says of them is worth more.
    """

    name: str
    content: dict[str, Any]
    residuals: dict[str, float]
    measured: bool


@dataclass(frozen=True, slots=True)
class Target:
    """A calibration file to be written, and what becomes of one that is there."""

    path: Path
    text: str
    replaced: tuple[str, ...]
    kept: tuple[str, ...]


def part(
    name: str, found: Triad, more: Mapping[str, Any], residuals: Mapping[str, float], *, measured: bool
) -> Part:
    """Make the table of a triad; `more` says what it rests on."""
    correction = found.correction
    unit = "counts" if correction.from_counts else SI_UNIT[name]
    of_matrix = {
        "matrix_sd": found.matrix_sd.tolist(),
        "scale": found.scale.tolist(),
        "scale_sd": found.scale_sd.tolist(),
        "skew_deg": found.skew_deg.tolist(),
        "skew_sd_deg": found.skew_sd_deg.tolist(),
    }
    content = {
        "method": more["method"],
        f"bias_{unit}": correction.bias.tolist(),
        f"bias_sd_{unit}": found.bias_sd.tolist(),
        "matrix": correction.matrix.tolist(),
        **(of_matrix if measured else {"measured": False}),
        "interval": found.interval,
        **{key: value for key, value in more.items() if key != "method"},
    }
    return Part(name, content, dict(residuals), measured)


def calibration_path(folder: Path, device: str, date: dt.date) -> Path:
    """Return where the calibration of a device and date belongs.

    Raises
    ------
    SettingsError
        If the device's name is none a folder can have.
    """
    if not DEVICE.fullmatch(device) or device.upper() in RESERVED:
        message = f"--device: found {device!r}; wanted 1 to 32 letters, digits or _ -, beginning with a letter or digit"
        raise SettingsError(message)
    return folder / device / f"{date.isoformat()}.toml"


def plan(
    path: Path, device: str, date: dt.date, gravity_m_s2: float, parts: list[Part], *, replace: bool
) -> Target:
    """Work out what a calibration file will say, together with what it says already.

    Parameters
    ----------
    path : Path
    device : str
    date : datetime.date
    gravity_m_s2 : float
    parts : list of Part
        What was measured now.
    replace : bool
        Whether what the file says of the same triads may be replaced.

    Raises
    ------
    SettingsError
        If the file says something of the same triads, or cannot be read, and may not be replaced.
    CalibrationError
        If the file is of another device.
    """
    old = _earlier(path, device, replace=replace)
    parts = [new for new in parts if new.measured or not _measured(old, new.name)]
    replaced = tuple(new.name for new in parts if _measured(old, new.name))
    if replaced and not replace:
        message = (
            f"{path}: holds a calibration of the {' and the '.join(replaced)} already; "
            "give --replace to replace it, or another --date"
        )
        raise SettingsError(message)
    tables = {name: old[name] for name in TRIADS if name in old} | {new.name: new.content for new in parts}
    new_names = {new.name for new in parts}
    if "accelerometer" in old and "accelerometer" not in new_names:
        gravity_m_s2 = old["gravity_m_s2"]  # with which the accelerometer was calibrated
    residuals = {
        key: value for key, value in old.get("residuals", {}).items() if not key.startswith(tuple(new_names))
    }
    for new in parts:
        residuals |= new.residuals
    own = {
        key: value
        for key, value in old.items()
        if key not in {"device", "date", "method", "gravity_m_s2", "residuals", *TRIADS}
    }
    plain = {key: value for key, value in own.items() if not isinstance(value, dict)}
    others = {key: value for key, value in own.items() if isinstance(value, dict)}
    methods = [tables[name].get("method", old.get("method", "")) for name in TRIADS if name in tables]
    content = {
        "device": device,
        "date": date,
        "method": "; ".join(dict.fromkeys(filter(None, methods))),
        "gravity_m_s2": gravity_m_s2,
        **plain,
        **{name: tables[name] for name in TRIADS if name in tables},
        "residuals": residuals,
        **others,
    }
    kept = tuple(name for name in TRIADS if name in old and name not in new_names)
    return Target(path, HEAD + _toml(content), replaced, kept)


def _measured(old: dict[str, Any], name: str) -> bool:
    return name in old and old[name].get("measured", True)


def _earlier(path: Path, device: str, *, replace: bool) -> dict[str, Any]:
    """Return what the file says already, nothing where there is none."""
    if not path.exists():
        return {}
    try:
        found = read_calibration(path)
    except CalibrationError as error:
        if replace:
            return {}
        message = (
            f"{path}: is there and cannot be read as a calibration ({error}); give --replace to replace it"
        )
        raise SettingsError(message) from error
    if found.device != device:
        message = (
            f"{path}: holds a calibration of device {found.device!r}; wanted {device!r}; move the file away"
        )
        raise CalibrationError(message)
    return parse_toml(path.read_text(encoding="utf-8-sig"))


def _toml(content: dict[str, Any]) -> str:
    """Return a table of plain values, lists and tables as TOML."""
    lines = [
        f"{_key(key)} = {_value(value)}" for key, value in content.items() if not isinstance(value, dict)
    ]
    for key, value in content.items():
        if isinstance(value, dict):
            lines += ["", f"[{_key(key)}]"]
            lines += [f"{_key(name)} = {_value(entry)}" for name, entry in value.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list | tuple):
        if value and isinstance(value[0], list | tuple):
            return "[\n" + "".join(f"    {_value(row)},\n" for row in value) + "]"
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float | np.floating):
        text = f"{value:.10g}"
        return text if re.search(r"[.eni]", text) else f"{text}.0"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)  # a number or a text: TOML writes them as JSON does
