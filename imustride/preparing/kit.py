"""The kit: what is the same for every run of the day: columns, units, the devices and where they are worn."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, ValidationError

from imustride.errors import FileFormatError, listed
from imustride.session import (
    Conditions,
    Device,
    Label,
    Latitude,
    Surface,
    Worn,
    Written,
    read_toml,
    schema_problems,
    tuples,
)

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

FIELD = re.compile(r"\{([^{}]*)\}")
FIELDS = ("date", "time", "athlete", "run", "place", "side", "device")
CALIBRATION = re.compile(r"(\d{4}-\d{2}-\d{2})\.toml")


class _Device(Device):
    device: Label


class _File(Written):
    surface: Surface | None = None
    protocol: Label | None = None
    latitude_deg: Latitude | None = None
    conditions: Conditions = Field(default_factory=dict)
    logs: str | None = None
    calibrations: str | None = None
    changeover_min: Annotated[float, Field(ge=0)] = 0.0
    devices: tuple[_Device, ...] = ()
    places: tuple[Worn, ...] = ()


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit as read.

    Parameters
    ----------
    shared : dict
        Keys of every session: surface, protocol, latitude_deg, conditions, columns, units, file options.
    devices, places : dict of str to dict
        Keys of a `[[sensors]]` entry by device, and by place.
    logs : str or None
        Where a log lies in the folder of logs, with fields such as ``{athlete}``.
    calibrations : Path or None
        Folder with a folder for each device.
    changeover_min : float
        Shortest time in which a sensor goes from one athlete to the next [min].
    folder : Path
        Of the kit's file: relative paths start there.
    name : str
    """

    shared: dict[str, Any]
    devices: dict[str, dict[str, Any]]
    places: dict[str, dict[str, Any]]
    logs: str | None
    calibrations: Path | None
    changeover_min: float
    folder: Path
    name: str

    def sensor(self, place: str, device: str) -> dict[str, Any]:
        """Return the keys of a sensor's entry, its calibration left out."""
        entry: dict[str, Any] = {"place": place, "device": device}
        return entry | self.places.get(place, {}) | _without(self.devices.get(device, {}), "calibration")

    def calibration(self, device: str, date: dt.date) -> Path | None:
        """Return a device's calibration: as declared, else the newest that is not younger than the test."""
        declared = self.devices.get(device, {}).get("calibration")
        if declared is not None:
            return self.folder / str(declared)
        if self.calibrations is None or not (self.calibrations / device).is_dir():
            return None
        dated = [
            (match[1], path)
            for path in (self.calibrations / device).iterdir()
            if (match := CALIBRATION.fullmatch(path.name)) and match[1] <= date.isoformat()
        ]
        return max(dated)[1] if dated else None


def no_kit(folder: Path) -> Kit:
    """Return a kit of which nothing is known: enough for a sheet, not for sessions."""
    return Kit({}, {}, {}, None, None, 0.0, folder, "kit.toml")


def read_kit(path: Path) -> Kit:
    """Read ``kit.toml``.

    Raises
    ------
    FileFormatError
        If the file is missing, no TOML, or holds unknown keys or wrong values; all of them at once.
    """
    raw = tuples(read_toml(path, path.name, "the kit of the day, a .toml file; correct --kit"))
    try:
        file = _File.model_validate(raw, strict=True)
    except ValidationError as error:
        message = f"{path.name}: {listed(schema_problems(error, raw))}; correct the file"
        raise FileFormatError(message) from error
    problems = _problems(file)
    if problems:
        message = f"{path.name}: {listed(problems)}; correct the file"
        raise FileFormatError(message)
    return _kit(file, path)


def _kit(file: _File, path: Path) -> Kit:
    own = {"logs", "calibrations", "changeover_min", "devices", "places"}
    return Kit(
        shared=file.model_dump(exclude_none=True, exclude_defaults=True, exclude=own),
        devices={
            entry.device: _without(entry.model_dump(exclude_none=True, exclude_defaults=True), "device")
            for entry in file.devices
        },
        places={
            entry.place: _without(entry.model_dump(exclude_none=True, exclude_defaults=True), "place")
            for entry in file.places
        },
        logs=file.logs,
        calibrations=None if file.calibrations is None else path.parent / file.calibrations,
        changeover_min=file.changeover_min,
        folder=path.parent,
        name=path.name,
    )


def _problems(file: _File) -> list[str]:
    names = [entry.device for entry in file.devices]
    worn = [str(entry.place) for entry in file.places]
    found = [f"devices: {name!r} is there twice" for name in sorted({n for n in names if names.count(n) > 1})]
    found += [f"places: {name!r} is there twice" for name in sorted({n for n in worn if worn.count(n) > 1})]
    unknown = [name for name in FIELD.findall(file.logs or "") if name not in FIELDS]
    if unknown:
        shown = unknown[0].encode("unicode_escape").decode()
        found.append(f"logs: unknown {{{shown}}}; wanted {', '.join(f'{{{name}}}' for name in FIELDS)}")
    return found


def _without(entry: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in entry.items() if name != key}
