"""A body made by hand: two feet whose pushes are given, and segments whose attitudes are formulas of time.

Strides last 0.8 s, contacts 0.4 s; the left blade lands at 3.4 s + 0.8 k, the right one 0.4 s later. With the phase
u = 2 pi (t - blade-on) / 0.8, which is 0 at blade-on and pi at blade-off, the left leg does

    shank 30 + 10 sin u, thigh -40 - 10 cos u  [deg, tipped forward]

and the right leg the same with its shank tipped 5 degrees more. Nothing here is taken from the analysis.
"""

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from imustride.kinematics import BladePath, Clock, Cut, Kinematics
from imustride.metrics.pushes import Foot, push_table
from imustride.registry import methods
from imustride.segments import Body, Fitting, Lengths, Segment

NAN = np.nan
STRIDE_S, CONTACT_S = 0.8, 0.4
OMEGA = 2 * np.pi / STRIDE_S
FIRST_S = {"left": 3.4, "right": 3.8}
STANCE_S = 2.0
PUSHES = 5  # of each foot, the standing one among them
THIGH_M, SHANK_M = 0.40, 0.45
SKATE_HZ, BODY_HZ, END_S = 200.0, 400.0, 12.0
SHANK_DEG = {"left": 30.0, "right": 35.0}
LENGTHS = Lengths(dict.fromkeys(FIRST_S, THIGH_M), dict.fromkeys(FIRST_S, SHANK_M), "measured")
WELL = Fitting(np.eye(3), upright=True, forward_sd_rad=0.03, movements=2)


def contacts(side):
    """Blade-on and blade-off of a foot [s]: a standing push, four more, and the landing of the glide."""
    on_s = FIRST_S[side] + STRIDE_S * np.arange(PUSHES)
    off_s = np.append(on_s[0] - CONTACT_S, on_s[:-1] + CONTACT_S)
    pushes = np.column_stack((np.append(NAN, on_s[:-1]), off_s))
    return np.vstack((pushes, [on_s[-1], NAN]))


def phase(side, time_s):
    return OMEGA * (time_s - FIRST_S[side])


def turns(order, *angles_deg):
    """Attitudes of turns about moving axes one after the other, shape (n, 3, 3)."""
    angles = np.column_stack(np.broadcast_arrays(*angles_deg))
    return Rotation.from_euler(order, angles, degrees=True).as_matrix()


def shank(side, time_s):
    return turns("Y", SHANK_DEG[side] + 10 * np.sin(phase(side, time_s)))


def thigh(side, time_s):
    return turns("Y", -40 - 10 * np.cos(phase(side, time_s)))


def trunk(time_s):
    """Leans 40 + 5 sin u of the left foot; its left turn is largest 0.05 s behind the left blade-off, at 3.8 s + 0.8 k."""
    return turns("ZY", 15 * np.cos(OMEGA * (time_s - 3.85)), 40 + 5 * np.sin(phase("left", time_s)))


def pelvis(time_s):
    return turns("ZY", 6 * np.cos(OMEGA * (time_s - 3.85)), np.full(len(time_s), 15.0))


def forearm(time_s, plane_deg, middle_deg, swing_deg, forward_s):
    """Hangs and swings by `middle + swing cos` in a vertical plane `plane_deg` from the lane, farthest forward at a time."""
    alpha = middle_deg + swing_deg * np.cos(OMEGA * (time_s - forward_s))
    return turns("ZY", np.full(len(time_s), plane_deg), -alpha)


def swaying(time_s, lateral_m, vertical_m, lateral_s, vertical_s):
    """Acceleration of what moves by `m cos` across the lane once a stride and up twice, shape (n, 3)."""
    across = -lateral_m * OMEGA**2 * np.cos(OMEGA * (time_s - lateral_s))
    up = -vertical_m * (2 * OMEGA) ** 2 * np.cos(2 * OMEGA * (time_s - vertical_s))
    return np.column_stack((np.zeros(len(time_s)), across, up))


# The extension starts at phase 78.97 degrees, see test_body_metrics.
EXTENDS_S = 0.8 * 78.97 / 360

MOTIONS = {
    "left_shank": lambda t: shank("left", t),
    "right_shank": lambda t: shank("right", t),
    "left_thigh": lambda t: thigh("left", t),
    "right_thigh": lambda t: thigh("right", t),
    "pelvis": pelvis,
    "trunk": trunk,
    "head": lambda t: turns("Y", np.zeros(len(t))),
    "right_wrist": lambda t: forearm(t, 20.0, 10.0, 30.0, 3.83),  # 0.03 s behind the left blade-off
    "left_wrist": lambda t: forearm(t, -30.0, 5.0, 25.0, 4.15),  # 0.05 s before the right one
}
SWAY = {
    "pelvis": lambda t: swaying(t, 0.08, 0.02, 3.6, 3.5),
    "head": lambda t: swaying(t, 0.05, 0.015, 3.4 + EXTENDS_S, 3.5),
}


def segment(
    place, motion=None, clock=None, rate_hz=BODY_HZ, start_s=0.0, end_s=END_S, hole_s=None, **changes
):
    """One segment, logged on its own clock; the motion is a formula of the run's clock, as are start, end and hole."""
    clock = clock or Clock()
    begin = float(clock.own(np.array(start_s)))
    own_s = begin + np.arange(round((end_s - start_s) * rate_hz)) / rate_hz
    time_s = np.asarray(clock.reference(own_s))
    measured = np.ones(len(time_s), bool)
    if hole_s is not None:
        measured = (time_s < hole_s[0]) | (time_s > hole_s[1])
    made = {
        "place": place,
        "clock": clock,
        "start_s": begin,
        "rate_hz": rate_hz,
        "lane_from_segment": (motion or MOTIONS[place])(time_s),
        "acceleration_m_s2": SWAY[place](time_s) if place in SWAY else np.zeros((len(time_s), 3)),
        "measured": measured,
        "fitting": WELL,
        "heading_sd_rad": 0.01,
    }
    return Segment(**{**made, **changes})


def body(*but, lengths=LENGTHS, problems=None, **segments):
    """The whole body without some places, with some segments exchanged."""
    worn = {place: segment(place) for place in MOTIONS if place not in but and place not in segments}
    return Body({**worn, **segments}, lengths, problems or {})


def skate(side, **changes):
    """A skate that stands and glides upright."""
    samples = round(END_S * SKATE_HZ)
    made = {
        "side": side,
        "start_s": 0.0,
        "rate_hz": SKATE_HZ,
        "acceleration_m_s2": np.tile([0.0, 0.0, 9.81], (samples, 1)),
        "angular_velocity_rad_s": np.zeros((samples, 3)),
        "earth_from_segment": np.tile(np.eye(3), (samples, 1, 1)),
        "velocity_m_s": np.zeros((samples, 3)),
        "measured": np.ones(samples, bool),
        "clipped": np.zeros((samples, 2), bool),
        "cut": Cut((0.0, STANCE_S), (STANCE_S, END_S)),
    }
    return Kinematics(**{**made, **changes})


def path(heading_rad=0.0):
    """A blade that runs along the lane; its samples are those of the skate."""
    time_s = np.linspace(0.0, END_S, 601)
    return BladePath(
        time_s=time_s,
        position_m=np.stack([5 * time_s, 0 * time_s], axis=1),
        velocity_m_s=np.tile([5.0, 0.0], (len(time_s), 1)),
        heading_rad=np.full(round(END_S * SKATE_HZ), heading_rad),
        root=np.full((len(time_s), 2, 3), 0.1),
        heading_root=np.full((len(time_s), 3), 0.01),
        lane_sd_rad=0.02,
    )


def feet(**changed):
    """Both feet, with changes of either by side."""
    made = {side: Foot(skate(side), Clock(), contacts(side), PUSHES, path()) for side in ("left", "right")}
    return {side: replace(foot, **changed.get(side, {})) for side, foot in made.items()}


def table(worn=None, both=None):
    """Rows of `pushes.csv` of the body on the feet."""
    return push_table("run-1", both or feet(), list(methods("metrics").values()), worn)


def row(found, side, push):
    """One row as a dict."""
    (only,) = found[(found["side"] == side) & (found["push"] == push)].to_dict("records")
    return only
