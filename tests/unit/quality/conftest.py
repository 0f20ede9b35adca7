import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import Cut, Kinematics

RATE_HZ = 200.0
STANCE_S, MOTION_S, STOP_S = (0.0, 3.0), (3.0, 12.0), (12.0, 15.0)


def turned(pitch_deg, roll_deg):
    """Rotation earth_from_segment for a nose-down pitch and a roll."""
    a, b = np.radians([pitch_deg, roll_deg])
    pitch = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    roll = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    return pitch @ roll


@pytest.fixture
def make_skate():
    """A skate that stands, runs forward at 5 m/s leaning to one edge, and stands again."""

    def make(side="left", edge_deg=30.0, stop=(0.0, 0.0), stood=True, forward=1.0, clipped=None, lost=None):
        time_s = np.arange(0.0, STOP_S[1], 1 / RATE_HZ)
        moving = (time_s >= MOTION_S[0]) & (time_s < MOTION_S[1])
        inward = 1.0 if side == "left" else -1.0
        attitude = np.tile(np.eye(3), (len(time_s), 1, 1))
        attitude[moving] = turned(0.0, inward * edge_deg)
        attitude[time_s >= STOP_S[0]] = turned(*stop)
        force = np.einsum("nji,j->ni", attitude, [0.0, 0.0, 9.81])
        flags = np.zeros((len(time_s), 2), dtype=bool)
        for kind, begin_s, end_s in clipped or []:
            flags[(time_s >= begin_s) & (time_s < end_s), kind] = True
        measured = np.ones(len(time_s), dtype=bool)
        for begin_s, end_s in lost or []:
            measured[(time_s >= begin_s) & (time_s < end_s)] = False
        return Kinematics(
            side=side,
            start_s=0.0,
            rate_hz=RATE_HZ,
            acceleration_m_s2=force,
            angular_velocity_rad_s=np.zeros((len(time_s), 3)),
            earth_from_segment=attitude,
            velocity_m_s=np.outer(moving * forward * 5.0, [1.0, 0.0, 0.0]),
            measured=measured,
            clipped=flags,
            cut=Cut(STANCE_S, MOTION_S, STOP_S if stood else None),
        )

    return make


@pytest.fixture
def make_pushes():
    """Alternating pushes, 0.35 s apart from 4 s on, of even contacts; the standing pair first."""

    def make(count=14, first="right", intervals=None, contacts=None):
        steps = np.full(count, 0.35) if intervals is None else np.asarray(intervals, dtype=float)
        off_s = 4.0 + np.cumsum(steps) - steps[0]
        contact_s = np.full(count, 0.30) if contacts is None else np.asarray(contacts, dtype=float)
        contact_s = np.where(np.arange(count) < 2, np.nan, contact_s)
        other = {"left": "right", "right": "left"}[first]
        order = np.arange(count)
        return pd.DataFrame(
            {
                "run": "run-1",
                "side": np.where(order % 2 == 0, first, other),
                "push": (order + 1) // 2,
                "blade_off_s": off_s,
                "contact_time_s": contact_s,
                "flags": (["standing_start;first_lift", "standing_start"] + [""] * count)[:count],
            }
        )

    return make


@pytest.fixture
def offs():
    """Blade-offs of each side of a table of pushes."""
    return lambda pushes: {side: rows["blade_off_s"].to_numpy() for side, rows in pushes.groupby("side")}
