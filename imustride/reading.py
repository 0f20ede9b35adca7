"""The files of one run as recordings: load, even out, calibrate, check, take the delay out, cut."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.calibration import apply, local_gravity_m_s2, read_calibration
from imustride.cutting.window import window
from imustride.errors import FileFormatError, ImustrideError, SignalQualityError
from imustride.inspection import unit_errors
from imustride.loaders import load, regularise
from imustride.loaders.spans import load_span
from imustride.session import Run
from imustride.session_checks import split_group
from imustride.surveying import LongLog, lag_at_s, sure_lag_s, survey_log

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.cutting.survey import Blocks
    from imustride.recording import Recording, SensorLog
    from imustride.session import Movement, Sensor, Session

# When each sensor moved, by place and file, or why that is not known: what is kept of a long log that several runs share.
Read = dict[tuple[str, str], "Blocks | ImustrideError | OSError"]


def read_recordings(
    session: Session, run: Run, read: Read | None = None
) -> tuple[dict[str, Recording], tuple[str, ...]]:
    """Read the files of one run.

    Parameters
    ----------
    session : Session
    run : Run
    read : dict, optional
        What earlier runs have learnt of logs that several runs share; added to.

    Returns
    -------
    recordings : dict of place to Recording
        In the order of the session's sensors. Of a run with a declared span only its part of each log is read.
    problems : tuple of str
        One line for each file that could not be read or used; of a run with a declared span also one for all the sensors
        that cannot be placed without the log whose clock counts.

    Raises
    ------
    SignalQualityError
        If the declared span holds no samples of the first sensor.
    """
    read = {} if read is None else read
    places = [sensor.place for sensor in session.sensors if sensor.place in run.files]
    recordings: dict[str, Recording] = {}
    problems = []
    for place in places:
        try:
            if not is_cut(run):
                found: Recording | None = read_one(session, run, place)
            elif place == places[0] or (lost := unread(log_of(session, run, places[0]), read)) is None:
                found = read_piece(session, run, place, read, places[0])
            else:
                problems += [told(lost), unplaced(log_of(session, run, places[0]), places[1:])]
                break
        except (ImustrideError, OSError) as error:
            problems.append(told(error))
            continue
        if found is not None:
            recordings[place] = found
        elif place == places[0]:
            raise outside(run, place, survey(log_of(session, run, place), read))
    return recordings, tuple(dict.fromkeys(problems))


def read_movement(session: Session, movement: Movement, place: str, read: Read) -> Recording:
    """Read one sensor's recording of movements: its file, or of a longer log the declared span alone.

    Parameters
    ----------
    session : Session
    movement : Movement
    place : str
    read : dict
        As in `read_recordings`.

    Raises
    ------
    FileFormatError, CalibrationError
        As `read_one`.
    SignalQualityError
        As `read_one`; also if the span is not in the log, or nothing shows where it lies on this sensor's clock.
    """
    if not is_cut(movement):
        return read_one(session, movement, place)
    found = read_piece(session, movement, place, read, session.clock_of(movement))
    if found is None:
        raise outside(movement, place, survey(log_of(session, movement, place), read))
    return found


def is_cut(entry: Run | Movement) -> bool:
    """Tell whether a recording is a declared span of longer logs."""
    return entry.start_s is not None or entry.end_s is not None


def read_piece(session: Session, run: Run | Movement, place: str, read: Read, first: str) -> Recording | None:
    """Read the declared span of a run from one sensor's log, and nothing else of it.

    The span is on the clock of the first sensor. The others' clocks are not joined yet: their logs are read once in
    blocks, and laid beside the first by when both moved.

    Parameters
    ----------
    session : Session
    run : Run or Movement
    place : str
    read : dict
        As in `read_recordings`.
    first : str
        Place whose clock counts.

    Returns
    -------
    Recording or None
        As `read_one`; None where the log holds nothing of the span.

    Raises
    ------
    FileFormatError, CalibrationError, SignalQualityError
        As `read_one` and `span_in`.
    """
    log = log_of(session, run, place)
    clock = None if place == first else log_of(session, run, first)
    from_s, to_s = span_in(run, log, clock, read)
    rows = load_span(log.path, log.group, log.sensor, from_s, to_s)
    if len(rows.time_s) < 2:
        return None
    late_s = delay_s(log.sensor)
    return window(as_recording(session, rows), from_s - late_s, to_s - late_s)


def span_in(run: Run | Movement, log: LongLog, first: LongLog | None, read: Read) -> tuple[float, float]:
    """Return where the declared span of a run lies in a log, on the clock of its file [s].

    Parameters
    ----------
    run : Run or Movement
        Of a run the shocks tell later whether it is the right one; nothing does of movements, so the clocks must show it.
    log : LongLog
    first : LongLog or None
        The one whose clock counts; None where it is this one.
    read : dict
        As in `read_recordings`.

    Raises
    ------
    FileFormatError, CalibrationError
        As `survey_log`.
    SignalQualityError
        As `survey_log`; also if nothing shows where movements lie in this log.
    """
    from_s = -float("inf") if run.start_s is None else run.start_s
    to_s = float("inf") if run.end_s is None else run.end_s
    lag_s = 0.0
    if first is not None:
        clocks = survey(first, read), survey(log, read)
        found = lag_at_s(*clocks, (from_s, to_s)) if isinstance(run, Run) else sure_lag_s(*clocks)
        if found is None:
            raise unjoined(str(log.sensor.place), str(first.sensor.place))
        lag_s = found
    late_s = delay_s(log.sensor)
    return from_s - lag_s + late_s, to_s - lag_s + late_s


def unjoined(place: str, first: str) -> SignalQualityError:
    """Return the error of movements that cannot be found in the log of a sensor."""
    message = (
        f"{place}: its log and that of {first} do not move together, so where start_s and end_s lie in it is not known; "
        f"give {place} a [[movements]] entry of its own, with the times on its own clock"
    )
    return SignalQualityError(message)


def outside(run: Run | Movement, place: str, log: Blocks) -> SignalQualityError:
    """Return the error of a declared span that is not in a log."""
    whose = f"run {run.name!r}: " if isinstance(run, Run) else ""
    message = (
        f"{whose}start_s and end_s lie outside the log of {place}, {log.start_s:.2f} to {log.end_s:.2f} s "
        "on its own clock; correct them in session.toml"
    )
    return SignalQualityError(message)


def unplaced(clock: LongLog, others: Sequence[str]) -> str:
    """Say that without the log whose clock counts a span is not known in those of other sensors."""
    return (
        f"{clock.name}: start_s and end_s are on its clock; without it, where they lie in the logs of "
        f"{', '.join(others)} is not known; repair it, or copy it again"
    )


def survey(log: LongLog, read: Read) -> Blocks:
    """Return when the sensor of a log moved; the log is read once."""
    key = str(log.sensor.place), f"{log.path}#{log.group}"
    if key not in read:
        try:
            read[key] = survey_log(log)
        except (ImustrideError, OSError) as error:
            read[key] = error
    found = read[key]
    if isinstance(found, Exception):
        raise found
    return found


def unread(log: LongLog, read: Read) -> ImustrideError | OSError | None:
    """Return why it is not known when the sensor of a log moved; None where it is."""
    try:
        survey(log, read)
    except (ImustrideError, OSError) as error:
        return error
    return None


def log_of(session: Session, run: Run | Movement, place: str) -> LongLog:
    """Return the log of one sensor of a run."""
    file, group = split_group({str(key): written for key, written in run.files.items()}[place])
    sensor = session.sensor(place)
    return LongLog(session.path(file), group, sensor, session.calibration_path(sensor))


def told(error: Exception) -> str:
    """Return an error as one line, without the machine's own path to a file."""
    if isinstance(error, OSError) and error.filename is not None:
        name = str(error.filename).replace("\\", "/").rsplit("/", maxsplit=1)[-1]
        return f"{name}: {error.strerror}"
    return str(error)


def read_one(session: Session, run: Run | Movement, place: str) -> Recording:
    """Read one sensor's file of a run, calibrated and with the device's delay taken out.

    Raises
    ------
    FileFormatError
        If the file cannot be read, or its samples contradict the declared unit, sign or axes.
    CalibrationError
        If the declared calibration cannot be used.
    SignalQualityError
        If there are too few samples, or time runs backwards.
    """
    return as_recording(session, load(session, run, place))


def as_recording(session: Session, log: SensorLog) -> Recording:
    """Return a log evenly sampled, calibrated and with the device's delay taken out; errors are those of `read_one`."""
    recording = regularise(log)
    path = session.calibration_path(log.sensor)
    if path is not None:
        recording = apply(recording, read_calibration(path))
    gravity_m_s2 = local_gravity_m_s2(session.latitude_deg)
    wrong = unit_errors(recording, gravity_m_s2, is_calibrated=path is not None)
    if wrong:
        message = f"{log.source}: {'; '.join(wrong)}"
        raise FileFormatError(message)
    return undelayed(recording)


def undelayed(recording: Recording) -> Recording:
    """Take the device's declared delay out of the clock.

    Where only a bandwidth is declared, its delay is that of an ordinary low pass: 0.159 / bandwidth for
    one pole, 0.225 / bandwidth for a second-order Butterworth; the middle is taken.
    """
    late_s = delay_s(recording.sensor)
    return replace(recording, start_s=recording.start_s - late_s) if late_s else recording


def delay_s(sensor: Sensor) -> float:
    """Return a device's declared delay [s]; see `undelayed`."""
    if sensor.delay_ms is not None:
        return 1e-3 * sensor.delay_ms
    return 0.0 if sensor.bandwidth_hz is None else 0.19 / sensor.bandwidth_hz
