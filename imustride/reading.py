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
from imustride.session_checks import split_group
from imustride.surveying import LongLog, lag_at_s, survey_log
from imustride.synchronisation.activity import activity_lag_s

if TYPE_CHECKING:
    from imustride.cutting.survey import Blocks
    from imustride.recording import Recording, SensorLog
    from imustride.session import Movement, Run, Sensor, Session

# When each sensor moved, by place and file: what is kept of a long log that several runs share.
Read = dict[tuple[str, str], "Blocks"]


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
        One line for each file that could not be read or used.

    Raises
    ------
    SignalQualityError
        If the declared span holds no samples of the first sensor.
    """
    read = {} if read is None else read
    places = [sensor.place for sensor in session.sensors if sensor.place in run.files]
    is_cut = run.start_s is not None or run.end_s is not None
    recordings: dict[str, Recording] = {}
    problems = []
    for place in places:
        first = next(iter(recordings), place)
        try:
            found = read_piece(session, run, place, read, first) if is_cut else read_one(session, run, place)
        except (ImustrideError, OSError) as error:
            problems.append(told(error))
            continue
        if found is not None:
            recordings[place] = found
        elif place == first:
            raise _outside(run, place, _survey(session, run, place, read))
    return recordings, tuple(problems)


def read_piece(session: Session, run: Run, place: str, read: Read, first: str) -> Recording | None:
    """Read the declared span of a run from one sensor's log, and nothing else of it.

    The span is on the clock of the first sensor. The others' clocks are not joined yet: their logs are read once in
    blocks, and laid beside the first by when both moved.

    Parameters
    ----------
    session : Session
    run : Run
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
        As `read_one`.
    """
    from_s = -float("inf") if run.start_s is None else run.start_s
    to_s = float("inf") if run.end_s is None else run.end_s
    lag_s = 0.0
    if place != first:
        lag_s = lag_at_s(
            _survey(session, run, first, read), _survey(session, run, place, read), (from_s, to_s)
        )
    sensor = session.sensor(place)
    file, group = split_group({str(key): written for key, written in run.files.items()}[place])
    late_s = delay_s(sensor)
    log = load_span(session.path(file), group, sensor, from_s - lag_s + late_s, to_s - lag_s + late_s)
    if len(log.time_s) < 2:
        return None
    return window(as_recording(session, log), from_s - lag_s, to_s - lag_s)


def _outside(run: Run, place: str, log: Blocks) -> SignalQualityError:
    message = (
        f"run {run.name!r}: start_s and end_s lie outside the log of {place}, {log.start_s:.2f} to {log.end_s:.2f} s "
        "on its own clock; correct them in session.toml"
    )
    return SignalQualityError(message)


def _survey(session: Session, run: Run, place: str, read: Read) -> Blocks:
    written = {str(key): file for key, file in run.files.items()}[place]
    if (place, written) not in read:
        file, group = split_group(written)
        sensor = session.sensor(place)
        log = LongLog(session.path(file), group, sensor, session.calibration_path(sensor))
        read[place, written] = survey_log(log)
    return read[place, written]


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


def cut_to(recordings: dict[str, Recording], run: Run) -> dict[str, Recording]:
    """Keep the declared span of a run, which is on the clock of the first recording.

    The others' clocks are not joined yet: they are laid beside the first by when both moved.

    Raises
    ------
    SignalQualityError
        If the span holds no samples of the first recording.
    """
    if not recordings:
        return recordings
    first = next(iter(recordings))
    from_s = -float("inf") if run.start_s is None else run.start_s
    to_s = float("inf") if run.end_s is None else run.end_s
    cut: dict[str, Recording] = {}
    for place, recording in recordings.items():
        lag_s = 0.0 if place == first else activity_lag_s(recordings[first], recording)
        piece = window(recording, from_s - lag_s, to_s - lag_s)
        if piece is not None:
            cut[place] = piece
        elif place == first:
            begin_s, end_s = recording.time_s[[0, -1]]
            message = (
                f"run {run.name!r}: start_s and end_s lie outside the log of {first}, {begin_s:.2f} to {end_s:.2f} s "
                "on its own clock; correct them in session.toml"
            )
            raise SignalQualityError(message)
    return cut
