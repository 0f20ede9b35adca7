"""Motion-BIDS: a session as a dataset of the Brain Imaging Data Structure, results among its derivatives.

Source: BIDS 1.11, modality motion. One tracking system a sensor, each with its own clock: ``LATENCY`` and the onsets of
events are seconds on the sensor's clock, unshifted. Numbers are written so that they come back to the last digit. What the
standard has no field for stands in JSON: ``SessionDeclaration`` beside the table of sessions, ``Runs`` and ``Movements`` beside
each recording.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride import __version__
from imustride.exporting.bids_events import EVENTS, EVENTS_ABOUT, event_rows
from imustride.exporting.declaring import sensor_declared, session_declared
from imustride.exporting.results_folder import PROGRAM

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.session import Run, Sensor, Session

BIDS_VERSION = "1.11.0"
CALIBRATION = "sourcedata/calibration"
# Letters of the standard for the direction in which an axis points: forward, left, up and their opposites.
TOWARDS = {"+": "ALS", "-": "PRI"}
README = """\
# {name}

Recordings of sensors worn by a skater, in Motion-BIDS: one tracking system a sensor, each on its own clock. `LATENCY` and
the onsets in `_events.tsv` are seconds on a sensor's own clock; events, and `start_s` and `end_s`
of `Runs` and `Movements`, are on the clock of the first sensor in `SessionDeclaration` (`sub-*_sessions.json`) that recorded them. Acceleration is specific force (at rest +g upwards), in axes of the sensor.

Results, with how they came about, are in `derivatives/imustride`. `imustride analyse` reads this folder.
"""


@dataclass(frozen=True, eq=False, slots=True)
class Recorded:
    """One recording to be written.

    Parameters
    ----------
    log : SensorLog
        In SI units, or counts where the sensor's units say so.
    is_timed : bool
        Whether the file had time stamps; else samples were counted at the sensor's `rate_hz`.
    task : str
        Name of what was done.
    number : int
        Of the first run, or the movement, that the recording holds.
    holds : mapping
        ``Runs`` and ``Movements``, as `imustride.loaders.bids_dataset` reads them.
    """

    log: SensorLog
    is_timed: bool
    task: str
    number: int
    holds: Mapping[str, Any]


def results_place(session: Session) -> str:
    """Where in a dataset the results of a session belong."""
    return f"derivatives/{PROGRAM}/{_subject(session)}/{_day(session)}"


def events_file(session: Session, number: int) -> str:
    """Where in a dataset the events of a run are."""
    name = f"{_subject(session)}_{_day(session)}_task-{_label(session.protocol)}_run-{number:02d}_events.tsv"
    return f"{_motion_folder(session)}/{name}"


def write_dataset(folder: Path, session: Session, recorded: Iterable[Recorded]) -> None:
    """Write recordings, what is known of them, and events; the results must be in their place.

    Parameters
    ----------
    folder : Path
        Holds the results in `results_place`.
    session : Session
    recorded : iterable of Recorded
        One after the other, so that one at a time is in memory.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    (folder / _motion_folder(session)).mkdir(parents=True, exist_ok=True)
    places = []
    for recording in recorded:
        _write_recording(folder, session, recording)
        places.append(recording.log.sensor.place)
    sensors = [sensor for sensor in session.sensors if sensor.place in places]
    told = [sensor_declared(session, sensor, folder, CALIBRATION) for sensor in sensors]
    declaration = {**session_declared(session), "sensors": told}
    _write_sessions(folder / _subject(session), session, declaration)
    _write_about(folder, session)


def write_events(
    folder: Path,
    session: Session,
    number: int,
    run: Run,
    gates: tuple[NDArray[np.float64], NDArray[np.float64]] | None,
) -> None:
    """Write blade-on, blade-off and gates of one run, from the results in `results_place`.

    Parameters
    ----------
    folder : Path
        Of the dataset.
    session : Session
    number : int
        Of the run in the session, from 1.
    run : Run
    gates : tuple of ndarray, shape (n,), or None
        Positions [m] and times [s] on the clock of the timing system.
    """
    rows = event_rows(folder / results_place(session), run.name, gates)
    lines = ["\t".join(row) for row in (EVENTS, *rows)]
    path = folder / events_file(session, number)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _write_recording(folder: Path, session: Session, recording: Recorded) -> None:
    log, sensor = recording.log, recording.log.sensor
    stem = (
        f"{_subject(session)}_{_day(session)}_task-{_label(recording.task)}"
        f"_tracksys-{_label(sensor.place)}_run-{recording.number:02d}"
    )
    beside = folder / _motion_folder(session) / stem
    columns = [log.acceleration_m_s2, log.angular_velocity_rad_s]
    if recording.is_timed:
        columns.append(log.time_s[:, np.newaxis])
    _write_numbers(beside.with_name(f"{stem}_motion.tsv"), np.column_stack(columns))
    _write_json(beside.with_name(f"{stem}_motion.json"), _sidecar(recording))
    text = "\n".join("\t".join(row) for row in _channels(sensor, is_timed=recording.is_timed))
    beside.with_name(f"{stem}_channels.tsv").write_text(f"{text}\n", encoding="utf-8", newline="\n")
    _write_json(
        beside.with_name(f"{stem}_channels.json"), {"reference_frame": {"Levels": {"sensor": _frame(sensor)}}}
    )


def _write_numbers(path: Path, table: NDArray[np.float64]) -> None:
    import pandas as pd

    with path.open("x", encoding="utf-8", newline="") as file:
        pd.DataFrame(table).to_csv(
            file, sep="\t", header=False, index=False, na_rep="n/a", lineterminator="\n"
        )


def _sidecar(recording: Recorded) -> dict[str, Any]:
    log, sensor = recording.log, recording.log.sensor
    stamps = log.time_s[np.isfinite(log.time_s)]
    duration_s = float(stamps[-1] - stamps[0]) if len(stamps) > 1 else 0.0
    usual_hz = _usual_rate_hz(stamps)
    counted = {"ACCELChannelCount": 3, "GYROChannelCount": 3}
    if recording.is_timed:
        counted["LATENCYChannelCount"] = 1
    return {
        "TaskName": recording.task,
        "TaskDescription": f"Skating; protocol {recording.task}",
        "SamplingFrequency": round(usual_hz, 1) if recording.is_timed else sensor.rate_hz,
        "SamplingFrequencyEffective": (len(stamps) - 1) / duration_s if duration_s > 0 else usual_hz,
        "TrackingSystemName": sensor.place.replace("_", " "),
        "DeviceSerialNumber": sensor.device,
        "RecordingDuration": duration_s,
        "MissingValues": "n/a",
        "TrackedPointsCount": 1,
        "MotionChannelCount": sum(counted.values()),
        **counted,
        **recording.holds,
    }


def _usual_rate_hz(stamps_s: NDArray[np.float64]) -> float:
    """Rate between holes: the median over so many samples that jitter and rounding of stamps count little."""
    apart = min(50, len(stamps_s) - 1)
    steps_s = stamps_s[apart:] - stamps_s[:-apart] if apart > 0 else stamps_s[:0]
    rising = steps_s[steps_s > 0]
    return (
        float(apart / np.median(rising)) if len(rising) else 1.0
    )  # one sample has no rate; a number is wanted


def _channels(sensor: Sensor, *, is_timed: bool) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [
        ("name", "component", "type", "tracked_point", "units", "placement", "reference_frame")
    ]
    is_counts = {
        "ACCEL": sensor.units.acceleration == "counts",
        "GYRO": sensor.units.angular_velocity == "counts",
    }
    worn = sensor.place.replace("_", " ") + (f", {sensor.mount}" if sensor.mount else "")
    for kind, unit in (("ACCEL", "m/s^2"), ("GYRO", "rad/s")):
        unit_of = "counts" if is_counts[kind] else unit
        rows += [
            (f"{sensor.place}_{kind}_{axis}", axis, kind, sensor.place, unit_of, worn, "sensor")
            for axis in "xyz"
        ]
    if is_timed:
        rows.append(("latency", "n/a", "LATENCY", "n/a", "s", "n/a", "n/a"))
    return rows


def _frame(sensor: Sensor) -> dict[str, str]:
    about = {"RotationRule": "right-hand", "Description": "Axes of the sensor, fixed in its housing."}
    if sensor.axes is None:
        return about
    # `axes` tell which sensor axis points forward, left, up; the standard wants to know whither x, y, z point.
    letters = {axis[1]: TOWARDS[axis[0]][number] for number, axis in enumerate(sensor.axes)}
    return {"SpatialAxes": "".join(letters[axis] for axis in "xyz"), **about}


def _write_sessions(folder: Path, session: Session, declaration: Mapping[str, Any]) -> None:
    """Write the table of the subject's sessions, and beside it what is declared of each."""
    table = f"session_id\tsurface\tprotocol\n{_day(session)}\t{session.surface}\t{session.protocol}\n"
    stem = f"{_subject(session)}_sessions"
    (folder / f"{stem}.tsv").write_text(table, encoding="utf-8", newline="\n")
    about = {
        "surface": {"Description": "what was skated on", "Levels": {"ice": "ice", "synthetic": "plastic"}},
        "protocol": {"Description": "label of what was done; only equal labels are compared"},
        "SessionDeclaration": {_day(session): declaration},
    }
    _write_json(folder / f"{stem}.json", about)


def _write_about(folder: Path, session: Session) -> None:
    name = f"{session.athlete}, {session.date.isoformat()}, {session.protocol}"
    made = {"Name": PROGRAM, "Version": __version__, "Description": "written by `imustride export bids`"}
    described = {"BIDSVersion": BIDS_VERSION, "GeneratedBy": [made]}
    _write_json(folder / "dataset_description.json", {"Name": name, **described, "DatasetType": "raw"})
    _write_json(
        folder / "derivatives" / PROGRAM / "dataset_description.json",
        {
            "Name": f"{name}: every push, left against right",
            **described,
            "DatasetType": "derivative",
            "SourceDatasets": [{"URL": "../.."}],
        },
    )
    # The tables of results keep their own names and their own dictionary (datapackage.json).
    (folder / "derivatives" / PROGRAM / ".bidsignore").write_text("sub-*/\n", encoding="utf-8")
    (folder / "README.md").write_text(README.format(name=name), encoding="utf-8", newline="\n")
    (folder / "participants.tsv").write_text(
        f"participant_id\n{_subject(session)}\n", encoding="utf-8", newline="\n"
    )
    _write_json(folder / f"task-{_label(session.protocol)}_events.json", EVENTS_ABOUT)


def _subject(session: Session) -> str:
    return f"sub-{session.athlete}"


def _day(session: Session) -> str:
    return f"ses-{session.date:%Y%m%d}"


def _motion_folder(session: Session) -> str:
    return f"{_subject(session)}/{_day(session)}/motion"


def _label(text: str) -> str:
    """What may stand in a file's name behind an entity: letters and digits."""
    return re.sub(r"[^A-Za-z0-9]", "", text) or "task"


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"{text}\n", encoding="utf-8", newline="\n")
