"""Parquet: signals of one sensor as logged, and tables; numbers as they are, to the last bit. Extra: research."""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

from imustride.errors import SettingsError

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from imustride.recording import SensorLog

TIME = "time_s"


def check_ready() -> None:
    """Say how to install what is missing.

    Raises
    ------
    SettingsError
        If pyarrow is not installed.
    """
    if find_spec("pyarrow") is None:
        message = "Parquet files need pyarrow; install it with: python -m pip install 'imustride[research]'"
        raise SettingsError(message)


def signal_names(log: SensorLog) -> tuple[tuple[str, str, str], tuple[str, str, str]]:
    """Names of the columns of acceleration and angular velocity, with their units."""
    units = log.sensor.units
    acceleration = "counts" if units.acceleration == "counts" else "m_s2"
    angular_velocity = "counts" if units.angular_velocity == "counts" else "rad_s"
    return (
        (
            f"acceleration_x_{acceleration}",
            f"acceleration_y_{acceleration}",
            f"acceleration_z_{acceleration}",
        ),
        (
            f"angular_velocity_x_{angular_velocity}",
            f"angular_velocity_y_{angular_velocity}",
            f"angular_velocity_z_{angular_velocity}",
        ),
    )


def write_signals(path: Path, log: SensorLog) -> None:
    """Write one sensor's log: time stamps as found, SI units or counts, null where a value is missing.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    import numpy as np
    import pyarrow as pa
    from pyarrow.parquet import write_table

    columns = {TIME: log.time_s}
    for names, values in zip(
        signal_names(log), (log.acceleration_m_s2, log.angular_velocity_rad_s), strict=True
    ):
        columns |= dict(zip(names, values.T, strict=True))
    arrays = {name: pa.array(values, mask=np.isnan(values)) for name, values in columns.items()}
    write_table(pa.table(arrays), path, write_page_checksum=True)


def write_plain(path: Path, table: pd.DataFrame) -> None:
    """Write one table, its index left out.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    table.to_parquet(path, index=False, write_page_checksum=True)
