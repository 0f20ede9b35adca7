"""The session folder: what was worn, by whom (a code), how it was recorded.

`session.toml` is read strictly: unknown keys are errors and all errors of a file are reported at once.
The records here hold what was declared; `imustride.session_checks` holds the rules beyond types.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from imustride import session_checks as checks
from imustride.constants import SKATES
from imustride.errors import FileFormatError, listed
from imustride.toml_text import parse_toml

Place = Literal[
    "left_skate", "right_skate", "left_shank", "right_shank", "left_thigh", "right_thigh",
    "left_wrist", "right_wrist", "pelvis", "trunk", "head",
]  # fmt: skip
# "samples": a counter of samples, with `rate_hz`; date-times are ISO 8601 where no order of day and month is said.
TimeUnit = Literal["s", "ms", "us", "samples", "date-time", "date-time day-first", "date-time month-first"]
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Metres = Annotated[float, Field(ge=-2, le=2)]
Triple = tuple[Metres, Metres, Metres]
Length = Annotated[float, Field(gt=0.1, lt=2.5)]
Positive = Annotated[float, Field(gt=0)]
# Radius of the curve of the running edge; blades of hockey have 2 to 4 m (common practice, no source).
Rocker = Annotated[float, Field(ge=1, le=10)]
Label = Annotated[str, Field(min_length=1)]
Latitude = Annotated[float, Field(ge=-90, le=90)]
Surface = Literal["ice", "synthetic"]
Conditions = dict[str, str | float | bool]
BirthYear = Annotated[int, Field(ge=1900, le=2200)]

# A session file of a hundred runs has some 20 kB; more than this is another file by mistake.
MAX_TOML_BYTES = 1_000_000


class Strict(BaseModel):
    """Base of the parts of a session: frozen, unknown keys refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Columns(Strict):
    """Header names in the files; None means: as the session says."""

    time: str | None = None
    acceleration: tuple[str, str, str] | str | None = None
    angular_velocity: tuple[str, str, str] | str | None = None


class Units(Strict):
    """Units of the files; compulsory for the session, never guessed."""

    time: TimeUnit | None = None
    acceleration: Literal["m/s^2", "g", "counts"] | None = None
    angular_velocity: Literal["deg/s", "rad/s", "counts"] | None = None


class Written(Strict):
    """How files are written."""

    columns: Columns = Columns()
    units: Units = Units()
    rate_hz: Positive | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None


class Ranged(Written):
    """How a device writes its files, and where its ranges end."""

    acceleration_range_g: Positive | None = None
    angular_velocity_range_deg_s: Positive | None = None


class Device(Ranged):
    """What belongs to a device, wherever it is worn."""

    device: Label = "unknown"
    bandwidth_hz: Positive | None = None
    delay_ms: float | None = None
    calibration: str | None = None


class Worn(Strict):
    """What belongs to a place, whichever device is worn there."""

    place: Place
    axes: tuple[Axis, Axis, Axis] | None = None  # sensor axes that point forward, left, up (nominal)
    position_m: Triple | None = None  # from the middle of the running edge, segment frame
    mount: Literal["holder", "boot"] | None = None
    rocker_radius_m: Rocker | None = None  # skates only


class Sensor(Worn, Device):
    """One worn sensor."""


class Run(Strict):
    """One run: files by place, optional gates and cut."""

    name: str
    files: dict[Place, str]
    gates: str | None = None
    start_s: float | None = None
    end_s: float | None = None


class Movement(Strict):
    """One recording of standing straight and simple movements, made to align the sensors of the body; optional cut.

    `kind` is for people: what was done is found in the recording.
    """

    kind: Label
    files: dict[Place, str]
    start_s: float | None = None
    end_s: float | None = None

    @property
    def name(self) -> str:
        """What messages call it."""
        return f"movement {self.kind}"


class BodyLengths(Strict):
    """The athlete's height and lengths of the leg's segments: hip to knee, knee to ankle."""

    height_m: Length | None = None
    left_thigh_m: Length | None = None
    left_shank_m: Length | None = None
    right_thigh_m: Length | None = None
    right_shank_m: Length | None = None


class Session(Written):
    """One athlete's test on one day.

    As returned by `read_session` every sensor carries its own complete columns, units and file
    options: what the session declares for all has been copied into it.
    """

    athlete: str
    birth_year: BirthYear | None = None  # for the season: who was a minor when
    date: dt.date
    surface: Surface
    protocol: Label
    consent: Literal["self", "guardian"] | None = None
    latitude_deg: Latitude | None = None
    conditions: Conditions = {}
    rocker_radius_m: Rocker | None = None  # of both skates
    sensors: tuple[Sensor, ...]
    runs: tuple[Run, ...]
    movements: tuple[Movement, ...] = ()
    body: BodyLengths = BodyLengths()
    folder: Path

    def inherited(self) -> Self:
        """Return the session with what it declares for all copied into every sensor, key by key."""
        return self.model_copy(update={"sensors": tuple(_inherit(self, sensor) for sensor in self.sensors)})

    def sensor(self, place: str) -> Sensor:
        """Return the sensor worn at a place.

        Raises
        ------
        FileFormatError
            If no sensor is declared for the place.
        """
        for sensor in self.sensors:
            if sensor.place == place:
                return sensor
        declared = ", ".join(sensor.place for sensor in self.sensors)
        message = (
            f"{self.folder.name}/session.toml: no sensor is declared at {place}; "
            f"declared are {declared}; add a [[sensors]] entry"
        )
        raise FileFormatError(message)

    def clock_of(self, entry: Run | Movement) -> Place:
        """Return the place of the first sensor with a file: its clock counts for `start_s` and `end_s`."""
        return next(sensor.place for sensor in self.sensors if sensor.place in entry.files)

    def path(self, written: str) -> Path:
        """Return the path of a file written in the session, links followed.

        Parameters
        ----------
        written : str
            As in `files` or `gates`, without the group of an HDF5 file.

        Raises
        ------
        FileFormatError
            If the place lies outside the session folder.
        """
        if not checks.is_inside(written, self.folder.resolve()):
            message = (
                f"{self.folder.name}/session.toml: file {written!r} lies outside the session folder; "
                "wanted a file inside it; copy the file into the folder"
            )
            raise FileFormatError(message)
        return (self.folder / written).resolve()

    def calibration_path(self, sensor: Sensor) -> Path | None:
        """Return the path of a sensor's calibration file, None where none is declared."""
        if sensor.calibration is None:
            return None
        return self.folder / sensor.calibration


def read_session(folder: Path) -> Session:
    """Read and check ``session.toml`` of a session folder.

    Parameters
    ----------
    folder : Path
        Session folder, or the ``session.toml`` in it.

    Returns
    -------
    Session
        Every sensor with its own complete columns, units and file options.

    Raises
    ------
    FileFormatError
        If the file is missing or cannot be read, or with every problem found in it at once.
    """
    file = folder if folder.suffix == ".toml" else folder / "session.toml"
    where = f"{file.resolve().parent.name}/{file.name}"
    wanted = "a session folder with a session.toml; see `imustride prepare`"
    return declared(read_toml(file, where, wanted), file.parent, where)


def declared(content: dict[str, Any], folder: Path, where: str) -> Session:
    """Check the content of a session file; see `read_session`.

    Parameters
    ----------
    content : dict
        As read from TOML.
    folder : Path
        Of the files.
    where : str
        Name of the file, for messages.

    Raises
    ------
    FileFormatError
        With every problem at once.
    """
    raw = tuples(content)
    problems = checks.problems(raw, folder)
    if "folder" in raw:  # a field of the record, not a key of the file
        problems.append("folder: unknown key; remove it or correct its spelling")
    session = None
    try:
        session = Session.model_validate({**raw, "folder": folder}, strict=True)
    except ValidationError as error:
        problems = schema_problems(error, raw) + problems
    if problems or session is None:
        unique = list(dict.fromkeys(problems))
        message = f"{where}: {len(unique)} problem{'s' if len(unique) > 1 else ''}: {listed(unique)}"
        raise FileFormatError(message)
    return session.inherited()


def read_toml(file: Path, where: str, wanted: str) -> dict[str, Any]:
    """Read a TOML file of at most `MAX_TOML_BYTES`.

    Parameters
    ----------
    file : Path
    where : str
        Name of the file, for messages.
    wanted : str
        What should be there and what to do, for messages.

    Raises
    ------
    FileFormatError
        If it is missing, too large, or no valid TOML in UTF-8.
    """
    if not file.is_file():
        message = f"{where}: no such file; wanted {wanted}"
        raise FileFormatError(message)
    if file.stat().st_size > MAX_TOML_BYTES:
        message = (
            f"{where}: {file.stat().st_size} bytes, wanted less than {MAX_TOML_BYTES}; is this the right file? "
            f"wanted {wanted}"
        )
        raise FileFormatError(message)
    try:
        return parse_toml(file.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        message = f"{where}: not UTF-8 text at byte {error.start}; save the file as UTF-8"
        raise FileFormatError(message) from error
    except tomllib.TOMLDecodeError as error:
        message = f"{where}: not valid TOML: {error}; correct this line"
        raise FileFormatError(message) from error


def tuples(value: Any) -> Any:
    """TOML arrays as tuples: what strict validation takes for a fixed number of entries."""
    if isinstance(value, dict):
        return {key: tuples(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return tuple(tuples(entry) for entry in value)
    return value


def _inherit(session: Session, sensor: Sensor) -> Sensor:
    """Fill what the sensor leaves open from the session; the nearer of `rate_hz` and a time column wins.

    A column that counts samples goes with a rate, wherever each is declared.
    """
    columns = {**_given(session.columns), **_given(sensor.columns)}
    units = Units(**{**_given(session.units), **_given(sensor.units)})
    rate_hz = sensor.rate_hz
    if units.time == "samples":
        rate_hz = sensor.rate_hz or session.rate_hz
    elif sensor.rate_hz is not None and sensor.columns.time is None:
        columns.pop("time", None)
    elif sensor.columns.time is None:
        rate_hz = session.rate_hz
    return sensor.model_copy(
        update={
            "columns": Columns(**columns),
            "units": units,
            "rate_hz": rate_hz,
            "delimiter": sensor.delimiter or session.delimiter,
            "decimal": sensor.decimal or session.decimal,
            "encoding": sensor.encoding or session.encoding,
            "rocker_radius_m": (sensor.rocker_radius_m or session.rocker_radius_m)
            if sensor.place in SKATES
            else None,
        }
    )


def _given(part: Strict) -> dict[str, Any]:
    return part.model_dump(exclude_none=True)


def schema_problems(error: ValidationError, raw: dict[str, Any]) -> list[str]:
    """One line a place in the file; the branches of a union are joined."""
    wanted: dict[str, tuple[str, list[str]]] = {}
    for entry in error.errors():
        where, value = _locate(entry["loc"], raw)
        if entry["type"] == "extra_forbidden":
            found, want = "unknown key", "remove it or correct its spelling"
        elif entry["type"] == "missing" and isinstance(value, tuple):
            found, want = f"found {value!r}", "wanted three entries"
        elif entry["type"] == "missing":
            found, want = "missing", "add it"
        else:
            found, want = f"found {value!r}", entry["msg"].replace("Input should be ", "wanted ")
        wanted.setdefault(where, (found, []))[1].append(want)
    return [f"{where}: {found}; {' or '.join(want)}" for where, (found, want) in wanted.items()]


def _locate(loc: tuple[int | str, ...], raw: Any) -> tuple[str, Any]:
    """Readable place of an error and the value there; labels of union branches are dropped."""
    where, value = "", raw
    for i, step in enumerate(loc):
        if isinstance(step, int) and isinstance(value, tuple) and step < len(value):
            where, value = f"{where}[{step}]", value[step]
        elif isinstance(value, dict) and step in value:
            where, value = f"{where}.{step}".strip("."), value[step]
        elif i == len(loc) - 1 and isinstance(value, dict):
            return f"{where}.{step}".strip("."), None
    return where, value
