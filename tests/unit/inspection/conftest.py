import numpy as np
import pytest

G = 9.80665
RATE_HZ = 400.0
AXIS = np.array([0.6, 0.7, 0.3]) / np.linalg.norm([0.6, 0.7, 0.3])


def turning(seconds=30.0, rest_s=10.0, noise=(0.02, 0.002)):
    """A sensor at rest, then turned slowly to and fro about a slanting axis: exact specific force and rate.

    Returns time [s], acceleration [m/s^2] and angular velocity [rad/s].
    """
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    moving = np.clip(time_s - rest_s, 0, None)
    angle = 1.2 * (1 - np.cos(1.5 * moving))
    rate = 1.8 * np.sin(1.5 * moving)
    up = np.array([0.0, 0.0, 1.0])
    # Rodrigues' formula for the turn back by the angle: what is up, seen from the sensor.
    cross, along = np.cross(AXIS, up), (AXIS @ up) * AXIS
    seen = np.cos(angle)[:, None] * up - np.sin(angle)[:, None] * cross + (1 - np.cos(angle))[:, None] * along
    rng = np.random.default_rng(7)
    acceleration = G * seen + noise[0] * rng.normal(size=(len(time_s), 3))
    angular_velocity = rate[:, None] * AXIS + noise[1] * rng.normal(size=(len(time_s), 3))
    return time_s, acceleration, angular_velocity


@pytest.fixture
def session(tmp_path):
    """Write a session of two skates; changes are made to text and signals."""

    def _session(sensors="", signals=None, units=('"s"', '"m/s^2"', '"rad/s"'), right=None):
        folder = tmp_path / "session"
        folder.mkdir(exist_ok=True)
        (folder / "session.toml").write_text(
            f"""\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
[columns]
time = "t"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]
[units]
time = {units[0]}
acceleration = {units[1]}
angular_velocity = {units[2]}
[[sensors]]
place = "left_skate"
device = "S041"
{sensors}
[[sensors]]
place = "right_skate"
[[runs]]
name = "run-1"
files = {{ left_skate = "left.csv", right_skate = "right.csv" }}
"""
        )
        signals = turning() if signals is None else signals
        for name, of_side in (("left.csv", signals), ("right.csv", signals if right is None else right)):
            np.savetxt(
                folder / name,
                np.column_stack(of_side),
                "%.6f",
                ",",
                header="t,ax,ay,az,gx,gy,gz",
                comments="",
            )
        return folder

    return _session
