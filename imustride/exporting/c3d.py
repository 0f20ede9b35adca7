"""C3D: the evenly sampled signals of one sensor as analog channels. Extra: c3d.

Source: C3D file format user guide (2021). Its header counts frames in 16 bits, and a library that writes more wraps round without a
word: long recordings are written as 2, 4, 8, ... samples a frame, and every file is read again and compared. A file
needs one point, here an empty one. Values are 32-bit floats, seven digits. Clock and number of samples stand in the group IMUSTRIDE.
"""

from __future__ import annotations

import math
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride import __version__
from imustride.errors import SettingsError, SignalQualityError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.recording import Recording

MOST_FRAMES = 65535  # an unsigned number of 16 bits
EXACT_COUNTS = 1 << 24  # beyond, 32-bit floats skip whole numbers
ACCELERATION = ("acceleration.x", "acceleration.y", "acceleration.z")
ANGULAR_VELOCITY = ("angular_velocity.x", "angular_velocity.y", "angular_velocity.z")
MEASURED = "measured"


def check_ready() -> None:
    """Say how to install what is missing.

    Raises
    ------
    SettingsError
        If ezc3d is not installed.
    """
    if find_spec("ezc3d") is None:
        message = "C3D files need ezc3d; install it with: python -m pip install 'imustride[c3d]'"
        raise SettingsError(message)


def write_c3d(path: Path, recording: Recording) -> None:
    """Write the signals of one sensor, and compare what the file holds.

    Parameters
    ----------
    path : Path
    recording : Recording
        Samples that stand in for lost ones are marked by 0 in the channel ``measured``.

    Raises
    ------
    SignalQualityError
        If the signals cannot be represented, or the file does not hold them.
    OSError
        If the file cannot be written.
    """
    import ezc3d

    values, per_frame = _values(recording)
    frames = values.shape[1] // per_frame
    file = ezc3d.c3d()
    parameters = file["parameters"]
    parameters["POINT"]["RATE"]["value"] = [recording.rate_hz / per_frame]
    parameters["POINT"]["LABELS"]["value"] = ["none"]
    parameters["ANALOG"]["RATE"]["value"] = [recording.rate_hz]
    parameters["ANALOG"]["LABELS"]["value"] = [*ACCELERATION, *ANGULAR_VELOCITY, MEASURED]
    parameters["ANALOG"]["UNITS"]["value"] = _units(recording)
    file.add_parameter("MANUFACTURER", "SOFTWARE", ["imustride"])
    file.add_parameter("MANUFACTURER", "VERSION_LABEL", [__version__])
    file.add_parameter("IMUSTRIDE", "START_S", [repr(recording.start_s)])
    file.add_parameter("IMUSTRIDE", "RATE_HZ", [repr(recording.rate_hz)])
    file.add_parameter("IMUSTRIDE", "SAMPLES", [str(len(recording.measured))])
    file["data"]["points"] = np.full((4, 1, frames), np.nan)
    file["data"]["analogs"] = values[np.newaxis]
    file.write(str(path))
    _compare(ezc3d.c3d(str(path)), values, recording, path)


def _values(recording: Recording) -> tuple[NDArray[np.float64], int]:
    """Channels, shape (7, n), filled up to whole frames by the last sample, and the number of samples in a frame."""
    signals = np.concatenate((recording.acceleration_m_s2.T, recording.angular_velocity_rad_s.T))
    where = f"{recording.place}: cannot be written as C3D"
    units = recording.sensor.units
    if not np.isfinite(signals).all():
        message = f"{where}: a signal holds no number; C3D has no missing values; export it as Parquet"
        raise SignalQualityError(message)
    if "counts" in {units.acceleration, units.angular_velocity} and np.abs(signals).max() > EXACT_COUNTS:
        message = (
            f"{where}: counts beyond {EXACT_COUNTS} lose digits in its 32-bit floats; export it as Parquet"
        )
        raise SignalQualityError(message)
    count = len(recording.measured)
    # A power of two: the rate of frames is then exact. Readers divide the two rates and drop what is behind the
    # point, so that 18.999999 samples a frame become 18, without a word.
    per_frame = 1 << max(0, math.ceil(count / MOST_FRAMES) - 1).bit_length()
    if count == 0 or per_frame > MOST_FRAMES:
        message = f"{where}: {count} samples; wanted 1 to {MOST_FRAMES << 15}; export it as Parquet"
        raise SignalQualityError(message)
    missing = -count % per_frame
    filled = np.pad(signals, ((0, 0), (0, missing)), mode="edge")
    return np.vstack((filled, np.pad(recording.measured.astype(float), (0, missing)))), per_frame


def _units(recording: Recording) -> list[str]:
    units = recording.sensor.units
    acceleration = "counts" if units.acceleration == "counts" else "m/s^2"
    angular_velocity = "counts" if units.angular_velocity == "counts" else "rad/s"
    return [acceleration] * 3 + [angular_velocity] * 3 + ["1"]


def _compare(file: Any, values: NDArray[np.float64], recording: Recording, path: Path) -> None:
    """Refuse a file that does not hold what was written."""
    held = file["data"]["analogs"][0]
    rate_hz = float(file["header"]["analogs"]["frame_rate"])
    if held.shape != values.shape:
        found = f"{held.shape[1]} samples of {len(held)} channels; wanted {values.shape[1]} of {len(values)}"
    elif not np.array_equal(held, values.astype(np.float32)):
        found = "other values"
    elif not math.isclose(rate_hz, recording.rate_hz, rel_tol=1e-6):
        found = f"{rate_hz!r} Hz; wanted {recording.rate_hz!r}"
    else:
        return
    message = (
        f"{path.parent.name}/{path.name}: written, but read again it holds {found}; export it as Parquet"
    )
    raise SignalQualityError(message)
