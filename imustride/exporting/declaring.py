"""What a session declares, for the folder of a session in another format: as it was, but for how its files are written."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.session import Sensor, Session

# What the files themselves tell, and what is copied.
TOLD_BY_FILES = {"columns", "units", "rate_hz", "delimiter", "decimal", "encoding", "calibration"}


def session_declared(session: Session) -> dict[str, Any]:
    """Return what is declared of the session as a whole, as plain data with the keys of ``session.toml``."""
    left_out = {*TOLD_BY_FILES, "sensors", "runs", "movements", "folder"}
    return session.model_dump(mode="json", exclude_none=True, exclude=left_out)


def sensor_declared(session: Session, sensor: Sensor, folder: Path, inside: str) -> dict[str, Any]:
    """Return what is declared of a sensor; its calibration is copied into ``inside`` of the new folder.

    Raises
    ------
    OSError
        If the calibration cannot be copied.
    """
    told = sensor.model_dump(mode="json", exclude_none=True, exclude=TOLD_BY_FILES)
    path = session.calibration_path(sensor)
    if path is None:
        return told
    # Device and date: what results tell of a calibration.
    target = folder / inside / sensor.place / path.resolve().parent.name / path.name
    target.parent.mkdir(parents=True)
    shutil.copyfile(path, target)
    return {**told, "calibration": target.relative_to(folder).as_posix()}
