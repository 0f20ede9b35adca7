"""True attitude of the sensors in the two simulated sprints, cut and sampled as the analysis sees them."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from imustride.cutting.stance import cut
from imustride.errors import SignalQualityError
from imustride.loaders.sampling import regularise
from imustride.recording import Recording  # noqa: TC001
from imustride.simulation import run as first
from imustride.simulation.blade import rotate
from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.transitions import GRID_HZ as FIRST_GRID_HZ
from tests.benchmark.attitude_runs import AttitudeRun
from tests.generators import second
from tests.generators.shapes import GRID_HZ as SECOND_GRID_HZ


def first_runs(seed: int, grade: str) -> list[AttitudeRun]:
    """Both skates of a run of the simulation stage."""
    drawn = draw(seed, grade)
    motion, logs = move(drawn), first.simulate(drawn, "run-1").logs
    runs = []
    for side, foot in motion.feet.items():
        device = drawn.devices[side]
        count = len(foot.path.place_m)
        axes = [rotate(foot.attitude, np.broadcast_to(axis, (count, 3))) for axis in np.eye(3)]
        mounted = Rotation.from_quat(device.mount_quaternion).as_matrix()
        truth = np.stack(axes, axis=2) @ mounted
        slope, offset = 1 + device.clock_drift_ppm * 1e-6, device.clock_offset_s + device.delay_s
        recording = regularise(logs[f"{side}_skate"])
        runs += cut_run(recording, truth, (recording.time_s - offset) / slope * FIRST_GRID_HZ)
    return runs


def second_runs(seed: int, grade: str) -> list[AttitudeRun]:
    """Both skates of a run of the second motion generator."""
    simulated = second.simulate_run(seed, grade)
    runs = []
    for side, device in simulated.devices.items():
        truth = simulated.motions[side].earth_from_segment @ device.segment_from_sensor
        recording = regularise(device.log)
        true_s = (recording.time_s - device.offset_s) / (1 + device.drift) - float(
            simulated.factors["delay_s"]
        )
        runs += cut_run(recording, truth, true_s * SECOND_GRID_HZ)
    return runs


def cut_run(recording: Recording, truth: np.ndarray, grid: np.ndarray) -> list[AttitudeRun]:
    """Cut one skate and sample its truth; nothing where no stance is found."""
    try:
        found = cut(recording)
    except SignalQualityError:
        return []
    low = np.clip(grid.astype(int), 0, len(truth) - 2)
    part = np.clip(grid - low, 0, 1)[:, None, None]

    def span(limits: tuple[float, float]) -> slice:
        return slice(recording.index(limits[0]), recording.index(limits[1]))

    return [
        AttitudeRun(
            recording.rate_hz,
            recording.angular_velocity_rad_s,
            recording.acceleration_m_s2,
            (1 - part) * truth[low] + part * truth[low + 1],
            before=span(found.stance_s),
            after=None if found.stop_s is None else span(found.stop_s),
            motion=span(found.motion_s),
            guessed=~recording.measured,
        )
    ]
