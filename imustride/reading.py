"""The files of one run as recordings: load, even out, calibrate, check, take the delay out, cut."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.calibration import apply, local_gravity_m_s2, read_calibration
from imustride.cutting.window import window
from imustride.errors import FileFormatError, ImustrideError, SignalQualityError
from imustride.inspection import unit_errors
from imustride.loaders import load, regularise
from imustride.synchronisation.activity import activity_lag_s

if TYPE_CHECKING:
    from imustride.recording import Recording
    from imustride.session import Movement, Run, Session

Read = dict[tuple[str, str], "Recording"]


def read_recordings(
    session: Session, run: Run, read: Read | None = None
) -> tuple[dict[str, Recording], tuple[str, ...]]:
    """Read the files of one run.

    Parameters
    ----------
    session : Session
    run : Run
    read : dict, optional
        What earlier runs have read from files that several runs share; added to.

    Returns
    -------
    recordings : dict of place to Recording
        In the order of the session's sensors.
    problems : tuple of str
        One line for each file that could not be read or used.
    """
    read = {} if read is None else read
    places = [sensor.place for sensor in session.sensors if sensor.place in run.files]
    recordings: dict[str, Recording] = {}
    problems = []
    for place in places:
        key = (place, run.files[place])
        try:
            if key not in read:
                read[key] = read_one(session, run, place)
            recordings[place] = read[key]
        except (ImustrideError, OSError) as error:
            problems.append(told(error))
        if sum(run.files[place] == other.files.get(place) for other in session.runs) == 1:
            read.pop(key, None)
    if run.start_s is None and run.end_s is None:
        return recordings, tuple(problems)
    return cut_to(recordings, run), tuple(problems)


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
    log = load(session, run, place)
    recording = regularise(log)
    path = session.calibration_path(session.sensor(place))
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
    sensor = recording.sensor
    if sensor.delay_ms is not None:
        delay_s = 1e-3 * sensor.delay_ms
    elif sensor.bandwidth_hz is not None:
        delay_s = 0.19 / sensor.bandwidth_hz
    else:
        return recording
    return replace(recording, start_s=recording.start_s - delay_s)


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
