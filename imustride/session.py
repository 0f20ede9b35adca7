"""The session folder: what was worn, by whom (a code), how it was recorded.

`session.toml` is read strictly: unknown keys are errors and all errors of a file are reported at once.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Place = Literal[
    "left_skate", "right_skate", "left_shank", "right_shank", "left_thigh", "right_thigh",
    "left_wrist", "right_wrist", "pelvis", "trunk", "head",
]  # fmt: skip
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Triple = tuple[float, float, float]


class Strict(BaseModel):
    """Base of the parts of a session: frozen, unknown keys refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Columns(Strict):
    """Header names in the files; None means: as the session says."""

    time: str | None = None
    acceleration: tuple[str, str, str] | str | None = None
    angular_velocity: tuple[str, str, str] | str | None = None


class Units(Strict):
    """Units of the files; compulsory for the session, never guessed."""

    time: Literal["s", "ms", "us"] | None = None
    acceleration: Literal["m/s^2", "g", "counts"] | None = None
    angular_velocity: Literal["deg/s", "rad/s", "counts"] | None = None


class Sensor(Strict):
    """One worn sensor."""

    place: Place
    device: str = "unknown"
    axes: tuple[Axis, Axis, Axis] | None = None  # sensor axes that point forward, left, up (nominal)
    position_m: Triple | None = None  # from the middle of the running edge, segment frame
    mount: Literal["holder", "boot"] | None = None
    acceleration_range_g: Annotated[float, Field(gt=0)] | None = None
    angular_velocity_range_deg_s: Annotated[float, Field(gt=0)] | None = None
    bandwidth_hz: Annotated[float, Field(gt=0)] | None = None
    delay_ms: float | None = None
    calibration: str | None = None
    columns: Columns = Columns()
    units: Units = Units()
    rate_hz: Annotated[float, Field(gt=0)] | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    rocker_radius_m: Annotated[float, Field(gt=0)] | None = None


class Run(Strict):
    """One run: files by place, optional gates and cut."""

    name: str
    files: dict[Place, str]
    gates: str | None = None
    start_s: float | None = None
    end_s: float | None = None


class Session(Strict):
    """One athlete's test on one day."""

    athlete: str
    date: dt.date
    surface: Literal["ice", "synthetic"]
    protocol: str
    consent: Literal["self", "guardian"] | None = None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    conditions: dict[str, str | float | bool] = {}
    columns: Columns
    units: Units
    sensors: tuple[Sensor, ...]
    runs: tuple[Run, ...]
    folder: Path
