"""``session.h5``: signals, attitude and events of every run, small and checked on reading.

Layout: ``/runs/<run>/<side>/`` with the data sets ``acceleration``, ``angular_velocity`` (n, 3),
``orientation`` (n, 4), ``measured`` (n), ``clipped`` (n, 2), and ``events/`` with ``push``, ``blade_on``,
``blade_off``; ``path/`` with ``time`` (n), ``position`` and ``velocity`` (n, 2) where the blade's path was
fitted. ``/runs/<run>/body/`` beside them, where the feet have a path in common or there is one foot only: ``time``,
``position``, ``position_sd``, ``speed``, ``speed_sd`` (n) along the lane, and ``gate_position``, ``gate_time`` (g): where the
gates stand along the lane, and when the body passed them. ``/runs/<run>/segments/<place>/`` for every other part of the body
that was worn: ``orientation`` (n, 4) in the lane, ``acceleration`` (n, 3) in the lane without gravity, ``measured``. Signals are 16-bit counts: value = count * the attribute `scale`, in the attribute
`unit`; -32768 stands for missing. So the length of a stored quaternion is one to half a count of each of its four numbers,
0.00003. Every data set carries a checksum.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np

from imustride.frames import quaternion_from_matrix

if TYPE_CHECKING:
    from pathlib import Path

    import h5py
    from numpy.typing import NDArray

    from imustride.kinematics import BladePath, BodyPath, Clock, Kinematics
    from imustride.results import RunResult, SessionResult
    from imustride.segments import Segment

FULL_SCALE = 32767  # largest count of 16 bits
MISSING = -32768
CHUNK_ROWS = 8192
STORED = {"compression": "gzip", "compression_opts": 4, "shuffle": True, "fletcher32": True}


def write_signals(result: SessionResult, path: Path) -> None:
    """Write signals, attitude and events of a session to an HDF5 file.

    Parameters
    ----------
    result : SessionResult
    path : Path
        A file that does not exist yet.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    import h5py

    # Without a cache of chunks each is written as it comes: the same data give the same bytes, whenever handles are closed.
    with h5py.File(path, "x", libver=("v110", "v110"), rdcc_nbytes=0) as file:
        file.attrs["athlete"] = result.session.athlete
        file.attrs["date"] = result.session.date.isoformat()
        file.attrs["frames"] = "segment: x forward, y left, z up; earth: z up, heading arbitrary per skate"
        for run in result.runs:
            group = file.create_group(f"runs/{quote(run.name, safe=' ')}")
            group.attrs["name"] = run.name
            for side, kinematics in run.kinematics.items():
                skate = group.create_group(side)
                _write_skate(skate, run, kinematics, run.clocks.get(side))
                if side in run.paths:
                    _write_path(skate.create_group("path"), run.paths[side])
            if run.body is not None:
                _write_body(group.create_group("body"), run.body)
            for place, segment in run.segments.segments.items() if run.segments is not None else ():
                _write_segment(group.create_group(f"segments/{place}"), segment)


def _write_skate(group: h5py.Group, run: RunResult, skate: Kinematics, clock: Clock | None) -> None:
    group.attrs["start_s"] = skate.start_s
    group.attrs["rate_hz"] = skate.rate_hz
    group.attrs["stance_s"] = skate.cut.stance_s
    group.attrs["motion_s"] = skate.cut.motion_s
    if clock is not None:
        _write_clock(group, clock)
    _write_counts(group, "acceleration", skate.acceleration_m_s2, "m/s^2")
    _write_counts(group, "angular_velocity", skate.angular_velocity_rad_s, "rad/s")
    orientation = quaternion_from_matrix(skate.earth_from_segment)
    stored = _write_counts(group, "orientation", orientation, "1")
    stored.attrs["convention"] = "unit quaternion w, x, y, z: earth from segment"
    _write_array(group, "measured", skate.measured)
    _write_array(group, "clipped", skate.clipped).attrs["columns"] = ["acceleration", "angular velocity"]
    rows = run.pushes[run.pushes["side"] == skate.side]
    events = group.create_group("events")
    events.attrs["clock"] = "run"
    _write_array(events, "push", rows["push"].to_numpy(dtype=np.int32))
    for name in ("blade_on", "blade_off"):
        _write_array(events, name, rows[f"{name}_s"].to_numpy(dtype=float)).attrs["unit"] = "s"


def _write_clock(group: h5py.Group, clock: Clock) -> None:
    group.attrs["clock"] = "run = own + offset_s + drift * (own - at_s)"
    for name in ("offset_s", "drift", "at_s", "sd_s", "joined"):
        group.attrs[name] = getattr(clock, name)


def _write_segment(group: h5py.Group, segment: Segment) -> None:
    group.attrs["start_s"] = segment.start_s
    group.attrs["rate_hz"] = segment.rate_hz
    _write_clock(group, segment.clock)
    orientation = quaternion_from_matrix(segment.lane_from_segment)
    stored = _write_counts(group, "orientation", orientation, "1")
    stored.attrs["convention"] = "unit quaternion w, x, y, z: lane from segment"
    _write_counts(group, "acceleration", segment.acceleration_m_s2, "m/s^2")
    _write_array(group, "measured", segment.measured)


def _write_path(group: h5py.Group, path: BladePath) -> None:
    group.attrs["frame"] = "x along the lane, y to its left; middle of the blade's running edge"
    group.attrs["lane_sd_rad"] = path.lane_sd_rad
    group.attrs["clock"] = "own"
    for name, values, unit in (
        ("time", path.time_s, "s"),
        ("position", path.position_m, "m"),
        ("velocity", path.velocity_m_s, "m/s"),
    ):
        _write_array(group, name, values).attrs["unit"] = unit


def _write_body(group: h5py.Group, body: BodyPath) -> None:
    group.attrs["frame"] = "along the lane, from the feet's middle in the stance; the steps averaged out"
    group.attrs["clock"] = "run"
    for name, values, unit in (
        ("time", body.time_s, "s"),
        ("position", body.position_m, "m"),
        ("position_sd", np.linalg.norm(body.position_root, axis=1), "m"),
        ("speed", body.speed_m_s, "m/s"),
        ("speed_sd", body.speed_sd_m_s, "m/s"),
        ("gate_position", body.gate_m, "m"),
        ("gate_time", body.gate_s, "s"),
    ):
        _write_array(group, name, values).attrs["unit"] = unit


def _write_counts(group: h5py.Group, name: str, values: NDArray[np.float64], unit: str) -> h5py.Dataset:
    finite = np.isfinite(values)
    largest = np.max(np.abs(values), where=finite, initial=0.0)
    scale = largest / FULL_SCALE if largest > 0 else 1.0
    counts = np.where(finite, np.rint(np.where(finite, values, 0.0) / scale), MISSING).astype(np.int16)
    stored = _write_array(group, name, counts)
    stored.attrs["scale"] = scale
    stored.attrs["unit"] = unit
    return stored


def _write_array(group: h5py.Group, name: str, values: NDArray[Any]) -> h5py.Dataset:
    if len(values) == 0:  # nothing to compress
        return group.create_dataset(name, data=values)
    chunk = (min(len(values), CHUNK_ROWS), *values.shape[1:])
    return group.create_dataset(name, data=values, chunks=chunk, **STORED)
