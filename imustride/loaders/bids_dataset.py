"""A Motion-BIDS dataset as a session: one athlete on one day, every recording with its channels.

What the standard has no field for (surface, conditions, where a sensor sits) stands in the JSON beside the table of sessions,
``SessionDeclaration`` by session, or beside the recordings where there are no sessions; its keys are those of ``session.toml``.
``Runs`` and ``Movements`` beside a recording say what it holds.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import TYPE_CHECKING, Any

from imustride.constants import PLACES
from imustride.errors import FileFormatError
from imustride.loaders.motion_bids import ENDING, Channel, read_channels
from imustride.session import MAX_TOML_BYTES, declared

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from imustride.session import Session

DESCRIPTION = "dataset_description.json"
SIDECAR = "_motion.json"
ENTITY = re.compile(r"([a-z]+)-([A-Za-z0-9+]+)")


def dataset_root(path: Path) -> Path | None:
    """Return the folder of the dataset that a folder (the dataset, a subject, a session) belongs to, None for others."""
    folders = (path, *path.resolve().parents[:2])
    return next((folder for folder in folders if (folder / DESCRIPTION).is_file()), None)


def read_dataset(path: Path) -> Session:
    """Read a dataset of one athlete on one day, or the part of a larger one that `path` names.

    Parameters
    ----------
    path : Path
        Folder of the dataset, or in it of a subject (``sub-A07``) or of a session (``sub-A07/ses-20261003``).

    Raises
    ------
    FileFormatError
        If there is no recording, more than one athlete or day, or with every problem of what is declared at once.
    """
    root = dataset_root(path)
    if root is None:
        message = f"{path.name}: found no {DESCRIPTION}; wanted a folder of a Motion-BIDS dataset"
        raise FileFormatError(message)
    root = root.resolve()
    _check_description(root)
    motions = _motions(path.resolve(), root)
    recordings = [(motion, entities(motion.name), _sidecar(motion, root)) for motion in motions]
    _, named, sidecar = recordings[0]
    where, declaration = _declaration(root, named, sidecar, motions[0])
    raw = {"athlete": named.get("sub", ""), "protocol": sidecar.get("TaskName"), **declaration}
    sensors = _part(declaration, "sensors", list, f"{where}, SessionDeclaration")
    raw["date"] = _date(raw.get("date"))
    raw = {key: value for key, value in raw.items() if value is not None}
    raw["sensors"], raw["runs"], raw["movements"] = _contents(recordings, sensors, root)
    return declared(raw, root, f"{where}, SessionDeclaration")


def _declaration(
    root: Path, named: dict[str, str], sidecar: dict[str, Any], motion: Path
) -> tuple[str, dict[str, Any]]:
    """Return what is declared of the session, and the file it stands, or belongs, in."""
    if "ses" not in named:
        where = f"{motion.parent.name}/{motion.name.replace(ENDING, SIDECAR)}"
        return where, _part(sidecar, "SessionDeclaration", dict, where)
    subject, day = f"sub-{named.get('sub', '')}", f"ses-{named['ses']}"
    path = root / subject / f"{subject}_sessions.json"
    where = f"{subject}/{path.name}"
    by_day = _part(read_json(path, where), "SessionDeclaration", dict, where) if path.is_file() else {}
    return where, _part(by_day, day, dict, where)


def entities(name: str) -> dict[str, str]:
    """Return the entities of a file's name: ``sub-A07_task-sprint_motion.tsv`` has sub and task."""
    return {match[1]: match[2] for part in name.split("_") if (match := ENTITY.fullmatch(part))}


def _check_description(root: Path) -> None:
    content = read_json(root / DESCRIPTION, f"{root.name}/{DESCRIPTION}")
    if content.get("DatasetType", "raw") != "raw":
        message = (
            f"{root.name}/{DESCRIPTION}: DatasetType is {content['DatasetType']!r}; wanted recordings; name the dataset "
            "that these results come from"
        )
        raise FileFormatError(message)


def _motions(path: Path, root: Path) -> list[Path]:
    found = [
        motion
        for pattern in ("motion/*", "ses-*/motion/*", "sub-*/motion/*", "sub-*/ses-*/motion/*")
        for motion in sorted(path.glob(pattern + ENDING))
    ]
    days = sorted({motion.parent.parent.relative_to(root).as_posix() for motion in found})
    if len(days) == 1:
        return found
    shown = ", ".join(days[:10]) + (f" and {len(days) - 10} more" if len(days) > 10 else "")
    what = f"several sessions: {shown}; name one of these folders" if days else f"no recording (*{ENDING})"
    message = f"{path.name}: {what}; wanted the recordings of one athlete on one day"
    raise FileFormatError(message)


def _sidecar(motion: Path, root: Path) -> dict[str, Any]:
    """Join the JSON files that hold for a recording: those nearer to it, or more particular, win (inheritance principle)."""
    own = entities(motion.name).items()
    levels = [folder for folder in reversed(motion.parents) if folder.is_relative_to(root)]
    joined: dict[str, Any] = {}
    for folder in levels:
        holding = [file for file in folder.glob(f"*{SIDECAR}") if entities(file.name).items() <= own]
        for file in sorted(holding, key=lambda file: len(entities(file.name))):
            where = f"{file.parent.name}/{file.name}"
            content = read_json(file, where)
            if "Movement" in content:  # as once exported; without its list they would pass for runs
                message = f"{where}: found `Movement`; wanted `Movements`, a list; export the dataset again"
                raise FileFormatError(message)
            joined |= content
    return joined


def read_json(path: Path, where: str) -> dict[str, Any]:
    """Read a small JSON object.

    Raises
    ------
    FileFormatError
        If it is too large, or no JSON object in UTF-8.
    """
    found = f"{path.stat().st_size} bytes" if path.is_file() else "no regular file"
    try:
        if path.is_file() and path.stat().st_size <= MAX_TOML_BYTES:
            content = json.loads(path.read_text(encoding="utf-8-sig"))
            if isinstance(content, dict):
                return content
            found = f"a {type(content).__name__}"
    except (ValueError, RecursionError) as error:  # also what is not UTF-8
        found = f"no JSON ({error})"
    message = (
        f"{where}: found {found}; wanted a JSON object of at most {MAX_TOML_BYTES} bytes; correct the file"
    )
    raise FileFormatError(message)


def _date(value: Any) -> Any:
    try:
        return dt.date.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        return value  # the schema reports it


def _contents(
    recordings: Sequence[tuple[Path, dict[str, str], dict[str, Any]]], sensors: list[Any], root: Path
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], list[dict[str, Any]]]:
    """Return sensors, runs and movements with the keys of ``session.toml``."""
    worn = {
        str(sensor["place"]): sensor for sensor in sensors if isinstance(sensor, dict) and "place" in sensor
    }
    written: dict[str, dict[str, Any]] = {}
    runs: dict[str, dict[str, Any]] = {}
    movements: dict[str, dict[str, Any]] = {}
    for motion, named, sidecar in recordings:
        where = f"{motion.parent.name}/{motion.name}"
        file = motion.relative_to(root).as_posix()
        points = _points(read_channels(motion), where)
        for place, channels in points.items():
            found = {"place": place, "device": _device(sidecar, named), **worn.get(place, {})}
            written.setdefault(place, {**found, **_how_written(channels, sidecar, where)})
        files = dict.fromkeys(points, file)
        moved = _part(sidecar, "Movements", list, where)
        for movement in moved:
            _join(movements, movement, files, where, ("movement", "kind", "number"))
        for run in _part(sidecar, "Runs", list, where, [] if moved else [{"name": _run_name(named)}]):
            _join(runs, run, files, where, ("run", "name"))
    order = [place for place in worn if place in written]
    order += [place for place in written if place not in order]
    return [written[place] for place in order], _in_order(runs), _in_order(movements)


def _in_order(entries: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    numbered = sorted(entries.values(), key=lambda entry: entry["number"])
    return [{key: value for key, value in entry.items() if key != "number"} for entry in numbered]


def _run_name(named: dict[str, str]) -> str:
    return f"{named.get('task', 'task')}-{named.get('run', '1')}"


def _join(
    entries: dict[str, dict[str, Any]], entry: Any, files: dict[str, str], where: str, by: tuple[str, ...]
) -> None:
    """Add the files of one recording to a run or movement; what several recordings tell of it must be the same.

    `by`: what it is, and the keys by which it is known, the first of which names it.
    """
    what, name, *more = by
    told = {"number": len(entries), **entry} if isinstance(entry, dict) else {}
    if not isinstance(told.get(name), str) or not isinstance(told["number"], int):
        message = (
            f"{where}: {what.capitalize()}s: found {entry!r}; wanted the {name} of a {what}, and its number or none; "
            f"correct its {SIDECAR}"
        )
        raise FileFormatError(message)
    known = entries.setdefault(
        "/".join(str(entry.get(key, "")) for key in (name, *more)), {**told, "files": {}}
    )
    keys = [key for key in {**known, **told} if key != "files" and (key != "number" or key in entry)]
    said = [key for key in keys if known.get(key) != told.get(key)]
    twice = known["files"].keys() & files.keys()
    if said or twice:
        how = (
            f"{', '.join(said)} of it differs" if said else f"it has two files for {', '.join(sorted(twice))}"
        )
        message = (
            f"{where}: {what} {told[name]!r} is in several recordings, and {how}; make their {SIDECAR} agree"
        )
        raise FileFormatError(message)
    known["files"] |= files


def _points(channels: list[Channel], where: str) -> dict[str, list[Channel]]:
    """Return the inertial channels by the place on the body that they track; LATENCY is everybody's."""
    inertial = [channel for channel in channels if channel.type in {"ACCEL", "GYRO"}]
    points: dict[str, list[Channel]] = {}
    for channel in inertial:
        points.setdefault(re.sub(r"[ -]", "_", channel.tracked_point.lower()), []).append(channel)
    strange = [point for point in points if point not in PLACES]
    if strange or not points:
        found = f"tracked_point {strange[0]!r}" if strange else "no channel of type ACCEL or GYRO"
        message = f"{where}: found {found}; wanted the place of each sensor, one of {', '.join(PLACES)}; correct its _channels.tsv"
        raise FileFormatError(message)
    latency = [channel for channel in channels if channel.type == "LATENCY"][:1]
    return {place: [*latency, *of_place] for place, of_place in points.items()}


def _how_written(channels: list[Channel], sidecar: dict[str, Any], where: str) -> dict[str, Any]:
    """Return columns, units and rate of one sensor with the keys of ``session.toml``."""
    columns: dict[str, Any] = {}
    units: dict[str, Any] = {}
    for kind, key in (("ACCEL", "acceleration"), ("GYRO", "angular_velocity")):
        axes = {channel.component: channel for channel in channels if channel.type == kind}
        if axes.keys() != {"x", "y", "z"} or len({channel.units for channel in axes.values()}) != 1:
            found = ", ".join(f"{axis} in {channel.units}" for axis, channel in axes.items()) or "none"
            message = f"{where}: {kind} of one place: found components {found}; wanted x, y, z in one unit; correct _channels.tsv"
            raise FileFormatError(message)
        columns[key] = [axes[axis].name for axis in "xyz"]
        units[key] = axes["x"].units
    if channels[0].type == "LATENCY":
        columns["time"], units["time"] = channels[0].name, channels[0].units
        return {"columns": columns, "units": units}
    return {"columns": columns, "units": units, "rate_hz": sidecar.get("SamplingFrequency")}


def _device(sidecar: dict[str, Any], named: dict[str, str]) -> str:
    serial = sidecar.get("DeviceSerialNumber")
    return serial if isinstance(serial, str) and serial else named.get("tracksys", "unknown")


def _part(sidecar: dict[str, Any], key: str, kind: type, where: str, default: Any = None) -> Any:
    value = sidecar.get(key, kind() if default is None else default)
    if not isinstance(value, kind):
        message = f"{where}: {key}: found {value!r}; wanted a {kind.__name__} in its JSON; correct it"
        raise FileFormatError(message)
    return value
