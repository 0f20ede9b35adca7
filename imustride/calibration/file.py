"""The calibration file ``calibration/<device>/<date>.toml``."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from imustride.errors import CalibrationError, listed
from imustride.recording import own
from imustride.session import tuples
from imustride.toml_text import parse_toml

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

# A calibration has some 1 kB; more than this is another file by mistake.
MAX_BYTES = 1_000_000
# A triad whose matrix stretches one direction this much more than another has lost an axis.
MAX_CONDITION = 1e3

Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]


@dataclass(frozen=True, eq=False, slots=True)
class Correction:
    """``corrected = matrix @ (raw - bias)`` of one triad.

    Parameters
    ----------
    bias : ndarray, shape (3,)
        In SI units, or in counts where `from_counts`.
    matrix : ndarray, shape (3, 3)
        Without unit, or SI unit per count where `from_counts`.
    from_counts : bool
    """

    bias: NDArray[np.float64]
    matrix: NDArray[np.float64]
    from_counts: bool

    def __post_init__(self) -> None:
        own(self.bias, self.matrix)


@dataclass(frozen=True, eq=False, slots=True)
class Calibration:
    """One device's calibration.

    Parameters
    ----------
    device : str
    date : datetime.date
    method : str
    gravity_m_s2 : float
        Gravity at the place of the calibration [m/s^2].
    accelerometer, gyroscope : Correction or None
        None where the file leaves the triad as it is.
    residuals : dict of str to float
        What was left after the fit, by name with unit, such as ``accelerometer_m_s2``.
    source : str
        File, for messages and provenance.
    """

    device: str
    date: dt.date
    method: str
    gravity_m_s2: float
    accelerometer: Correction | None
    gyroscope: Correction | None
    residuals: dict[str, float]
    source: str = ""


class _Part(BaseModel):
    """Keys beside the contract's (temperature, remarks) are the laboratory's own and pass."""

    model_config = ConfigDict(extra="ignore", allow_inf_nan=False)


class _Accelerometer(_Part):
    bias_m_s2: Vector | None = None
    bias_counts: Vector | None = None
    matrix: Matrix


class _Gyroscope(_Part):
    bias_rad_s: Vector | None = None
    bias_counts: Vector | None = None
    matrix: Matrix


class _File(_Part):
    device: Annotated[str, Field(min_length=1)]
    date: dt.date
    method: Annotated[str, Field(min_length=1)]
    # Gravity on Earth lies between 9.76 and 9.84 m/s^2.
    gravity_m_s2: Annotated[float, Field(ge=9.7, le=9.9)]
    accelerometer: _Accelerometer | None = None
    gyroscope: _Gyroscope | None = None
    residuals: dict[str, float] = {}


def read_calibration(path: Path) -> Calibration:
    """Read and check a calibration file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        If the file is missing, no regular .toml file below 1 MB, lacks a key, holds a wrong type,
        or a matrix cannot be inverted; every problem of the file at once.
    """
    where = f"{path.parent.name}/{path.name}"
    return parse_calibration(_read_text(path, where), where)


def parse_calibration(text: str, where: str) -> Calibration:
    """Check the text of a calibration file.

    Parameters
    ----------
    text : str
    where : str
        Name of the file, for messages.

    Raises
    ------
    CalibrationError
        As `read_calibration`.
    """
    try:
        raw = tuples(parse_toml(text))
    except tomllib.TOMLDecodeError as error:
        message = f"{where}: not valid TOML: {error}; correct the calibration file"
        raise CalibrationError(message) from error
    try:
        file = _File.model_validate(raw, strict=True)
    except ValidationError as error:
        problems = [
            f"{'.'.join(str(step) for step in entry['loc'])}: {entry['msg'].replace('Input should be', 'wanted')}"
            for entry in error.errors()
        ]
        _refuse(where, problems)
        raise
    problems = []
    accelerometer = _correction("accelerometer", "bias_m_s2", file.accelerometer, problems)
    gyroscope = _correction("gyroscope", "bias_rad_s", file.gyroscope, problems)
    if file.accelerometer is None and file.gyroscope is None:
        problems.append("found neither [accelerometer] nor [gyroscope]; wanted at least one")
    _refuse(where, problems)
    return Calibration(
        file.device,
        file.date,
        file.method,
        file.gravity_m_s2,
        accelerometer,
        gyroscope,
        file.residuals,
        where,
    )


def _refuse(where: str, problems: list[str]) -> None:
    if problems:
        message = f"{where}: {listed(problems)}; correct the calibration file"
        raise CalibrationError(message)


def _read_text(path: Path, where: str) -> str:
    if not path.is_file():
        message = f"{where}: no such calibration file; correct `calibration` in session.toml or make the calibration"
        raise CalibrationError(message)
    if path.resolve().suffix.lower() != ".toml" or path.stat().st_size >= MAX_BYTES:
        message = f"{where}: found {path.stat().st_size} bytes; wanted a .toml file below {MAX_BYTES} bytes"
        raise CalibrationError(message)
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"{where}: not valid TOML: {error}; correct the calibration file"
        raise CalibrationError(message) from error


def _correction(
    name: str, bias_key: str, part: _Accelerometer | _Gyroscope | None, problems: list[str]
) -> Correction | None:
    if part is None:
        return None
    bias = getattr(part, bias_key)
    matrix = np.array(part.matrix)
    if (bias is None) == (part.bias_counts is None):
        problems.append(f"{name}: wanted either {bias_key} or bias_counts")
        return None
    if not np.linalg.cond(matrix) < MAX_CONDITION:
        problems.append(f"{name}.matrix: cannot be inverted; wanted three independent axes")
        return None
    return Correction(np.array(part.bias_counts if bias is None else bias), matrix, from_counts=bias is None)
