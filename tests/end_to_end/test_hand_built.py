"""The first test: four pushes made by hand, every column of the contract worked out on paper.

Both skates stand until 10.00 s. The right foot lifts first; then the pushes are left, right, left,
right; then both blades glide. Times on the left sensor's clock, the first of the session [s]:

          blade-on  blade-off
    R 0   standing  10.20      lifts first: push 0
    L 1   standing  10.60
    R 1   10.45     10.90
    L 2   10.95     11.35      lands 0.05 after the right blade has left: a flight phase
    R 2   11.25     11.70
    L     11.60     -          the two-foot glide: no row
    R     11.95     -          the two-foot glide: no row

The right sensor's own clock: left = own + 25 + 50e-6 (own - 10). The run lies near own -14, where the drift
takes 50e-6 x 24 = 1.2 ms: an analysis that forgets it, or applies it the wrong way round, is off by that.

A skate turns with constant rates between the knots of ROLL, so that its largest tilt is a knot; its
pitch rate is a few parabolic pulses, whose height is the peak. Earth x is the heading in the stance, and
no skate yaws. Signs: forward x, left y, up z. Pitch is about y, toe-down positive. Roll is about x, left
side up positive: inside edge on the left foot, outside edge on the right.
"""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import Clock, Cut, Gates, Kinematics
from imustride.metrics.pushes import FLAGS, Foot, push_table
from imustride.metrics.runs import run_row
from imustride.metrics.symmetry import MetricSymmetry, symmetry_table
from imustride.registry import methods

RATE_HZ = 500.0
OFFSET_S, DRIFT, AT_S = 25.0, 50e-6, 10.0
NAN = np.nan

CONTACTS = {
    "left": [(NAN, 10.60), (10.95, 11.35), (11.60, NAN)],
    "right": [(NAN, 10.20), (10.45, 10.90), (11.25, 11.70), (11.95, NAN)],
}
# Roll [deg] at times [s], straight lines between.
ROLL = {
    "left": (
        (10.00, 0), (10.30, 12), (10.60, 10),  # standing push: inside edge, at most 12
        (10.75, 40), (10.95, -6),  # swing: 40 does not count; lands on the outside edge
        (11.15, 25), (11.25, 22), (11.40, 22),  # push 2: at most 25, and 22 while the heel rises
        (11.50, 45), (11.60, 0),
    ),
    "right": (
        (10.00, 0), (10.10, -8), (10.20, -5),  # roll negative: inside edge 8
        (10.30, 15), (10.45, 0),
        (10.70, -30), (10.80, 0), (10.90, 0),  # inside edge 30, flat at blade-off
        (11.00, -50), (11.25, 5),
        (11.50, 3), (11.70, 6), (11.80, 0),  # outside edge all along: the largest edge angle is -3
    ),
}  # fmt: skip
# Pulses of the pitch rate: middle [s], half length [s], peak [deg/s], toe-down positive. The rate falls as a
# parabola to zero at both ends; the pitch turns by 4/3 of peak x half length.
PITCH = {
    "left": (
        (10.58, 0.06, 450), (10.80, 0.06, -450),  # 36 deg up and back
        (11.05, 0.02, 375),  # toe 10 deg down from 11.07 on, so at the largest roll too
        (11.35, 0.05, 600), (11.50, 0.05, -750),
    ),
    "right": (
        (10.22, 0.06, 400), (10.34, 0.06, -400),
        (10.84, 0.05, 480), (10.94, 0.03, -800),  # a faster toe-up turn inside the window is no push-off
        (11.32, 0.03, 800), (11.42, 0.03, -800),  # slap after landing: before the window
        (11.60, 0.05, 300), (11.75, 0.05, -300),
    ),
}  # fmt: skip
EXPECTED = {
    # Left 1: swing 10.95 - 10.60. Both on the ice from the right's blade-on: 10.60 - 10.45. Rate: 450 while the
    # roll is still falling slowly, 12 - 2 (10.58 - 10.30) / 0.30 = 10.133 deg: 450 cos 10.133 = 442.98.
    ("left", 1): {
        "phase": "acceleration", "flags": "standing_start", "blade_on_s": NAN, "blade_off_s": 10.60,
        "contact_time_s": NAN, "swing_time_s": 0.35, "stride_time_s": NAN, "stride_rate_hz": NAN,
        "step_time_s": NAN, "double_support_s": 0.15,
        "push_off_angular_velocity_deg_s": 442.98, "edge_angle_deg": 12.0,
    },
    # Right 0: swing 10.45 - 10.20. Nobody landed before it left: no double support. The other foot's next
    # blade-on does not make a step of a push that has no blade-on itself. Rate: 400 at 10.22, roll there
    # -5 + 20 (0.02 / 0.10) = -1: 400 cos 1 = 399.94.
    ("right", 0): {
        "phase": "acceleration", "flags": "standing_start;first_lift", "blade_on_s": NAN, "blade_off_s": 10.20,
        "contact_time_s": NAN, "swing_time_s": 0.25, "stride_time_s": NAN, "stride_rate_hz": NAN,
        "step_time_s": NAN, "double_support_s": NAN,
        "push_off_angular_velocity_deg_s": 399.94, "edge_angle_deg": 8.0,
    },
    # Right 1: contact 10.90 - 10.45, swing 11.25 - 10.90, stride 11.25 - 10.45, rate 1 / 0.80, step
    # 10.95 - 10.45, double support 10.90 - 10.95: in the air. Peak with the roll at 0.
    # It stays on its inside edge: no edge change.
    ("right", 1): {
        "phase": "acceleration", "flags": "no_edge_change", "glide_share_ratio": NAN, "glide_share_ratio_sd": NAN,
        "blade_on_s": 10.45, "blade_off_s": 10.90,
        "contact_time_s": 0.45, "swing_time_s": 0.35, "stride_time_s": 0.80, "stride_rate_hz": 1.25,
        "step_time_s": 0.50, "double_support_s": -0.05,
        "push_off_angular_velocity_deg_s": 480.0, "edge_angle_deg": 30.0,
    },
    # Left 2: contact 11.35 - 10.95, swing 11.60 - 11.35 to the landing of the glide, stride 11.60 - 10.95, rate
    # 1 / 0.65, step 11.25 - 10.95, double support 11.35 - 11.25. Peak of the pitch rate 600 at roll 22: about
    # the skate's y axis 600 cos 22 = 556.31. Edge with the toe 10 down: asin(sin 25 cos 10) =
    # asin(0.42262 x 0.98481) = 24.595; in the second part of the contact the roll is less.
    # Edge change: from -6 at 10.95 at 31 / 0.20 = 155 deg/s, so 6 / 155 = 0.03871 s after blade-on: of 0.40 s 0.09677.
    # Its deviation: 1 / 155 = 6.45 ms of the change, 10 (1 - 0.09677) = 9.03 ms of blade-on, 14 x 0.09677 = 1.35 ms of
    # blade-off: together 11.18 ms of 400.
    ("left", 2): {
        "phase": "acceleration", "flags": "", "blade_on_s": 10.95, "blade_off_s": 11.35,
        "contact_time_s": 0.40, "swing_time_s": 0.25, "stride_time_s": 0.65, "stride_rate_hz": 1.53846,
        "step_time_s": 0.30, "double_support_s": 0.10,
        "push_off_angular_velocity_deg_s": 556.31, "edge_angle_deg": 24.595,
        "glide_share_ratio": 0.09677, "glide_share_ratio_sd": 0.02795,
    },
    # Right 2: contact 11.70 - 11.25, swing 11.95 - 11.70, stride 11.95 - 11.25, rate 1 / 0.70, step 11.60 - 11.25,
    # double support 11.70 - 11.60. Peak at 11.60, within 0.15 s: 300 cos(3 + 3 (0.10 / 0.20)) = 300 cos 4.5 =
    # 299.08; pitch there does not matter. Largest edge: -3, at 11.50, pitch 0 by then.
    # It never comes onto its inside edge: no edge change.
    ("right", 2): {
        "phase": "acceleration", "flags": "no_edge_change", "glide_share_ratio": NAN, "glide_share_ratio_sd": NAN,
        "blade_on_s": 11.25, "blade_off_s": 11.70,
        "contact_time_s": 0.45, "swing_time_s": 0.25, "stride_time_s": 0.70, "stride_rate_hz": 1.42857,
        "step_time_s": 0.35, "double_support_s": 0.10,
        "push_off_angular_velocity_deg_s": 299.08, "edge_angle_deg": -3.0,
    },
}  # fmt: skip
# Times: the right foot's durations run on its own clock, 50e-6 off; a tenth of a millisecond covers it.
# Tilts: a sample besides the knot, at most 400 deg/s x 1 ms. Rates: a thousandth of the peak.
TOLERANCE = {"edge_angle_deg": 0.4, "push_off_angular_velocity_deg_s": 0.6, "stride_rate_hz": 2e-4}


def own_clock(side, shared_s):
    """Solve left = own + offset + drift (own - at) for own."""
    shared_s = np.asarray(shared_s, float)
    return shared_s if side == "left" else (shared_s - OFFSET_S + DRIFT * AT_S) / (1 + DRIFT)


def clock(side, *, joined=True):
    if side == "left":
        return Clock(joined=joined)
    return Clock(OFFSET_S, DRIFT, AT_S, sd_s=0.0005) if joined else Clock(joined=False)


def course(side, time_s):
    """Roll, pitch and their rates [rad, rad/s] at times on the left sensor's clock."""
    at, roll = np.array(ROLL[side], float).T
    rate = np.append(np.diff(roll) / np.diff(at), 0.0)
    piece = np.clip(np.searchsorted(at, time_s, side="right") - 1, -1, len(rate) - 1)
    roll_rate = np.where(piece < 0, 0.0, rate[piece])
    pitch, pitch_rate = np.zeros_like(time_s), np.zeros_like(time_s)
    for middle, half, peak in PITCH[side]:
        u = np.clip((time_s - middle) / half, -1, 1)
        pitch_rate += peak * (1 - u**2)
        pitch += peak * half * (u - u**3 / 3 + 2 / 3)
    return (np.radians(values) for values in (np.interp(time_s, at, roll), pitch, roll_rate, pitch_rate))


def skate(side, end_s=13.0, rate_hz=RATE_HZ):
    """Return the motion of one skate, sampled evenly on its own clock."""
    begin, end = own_clock(side, [6.0, end_s])
    own = begin + np.arange(int((end - begin) * rate_hz)) / rate_hz
    shared = own if side == "left" else own + OFFSET_S + DRIFT * (own - AT_S)
    roll, pitch, roll_rate, pitch_rate = course(side, shared)
    zero = np.zeros_like(roll)
    sin_r, cos_r, sin_p, cos_p = np.sin(roll), np.cos(roll), np.sin(pitch), np.cos(pitch)
    # earth_from_segment = (turn by pitch about y) (turn by roll about x): rows of earth x, y, z.
    attitude = np.array([
        [cos_p, sin_p * sin_r, sin_p * cos_r],
        [zero, cos_r, -sin_r],
        [-sin_p, cos_p * sin_r, cos_p * cos_r],
    ]).transpose(2, 0, 1)  # fmt: skip
    return Kinematics(
        side=side,
        start_s=float(begin),
        rate_hz=rate_hz,
        acceleration_m_s2=9.81 * attitude[:, 2, :],
        angular_velocity_rad_s=np.stack([roll_rate, pitch_rate * cos_r, -pitch_rate * sin_r], axis=1),
        earth_from_segment=attitude,
        velocity_m_s=np.zeros((len(own), 3)),
        measured=np.ones(len(own), bool),
        clipped=np.zeros((len(own), 2), bool),
        cut=Cut(tuple(own_clock(side, [6.5, 10.0])), tuple(own_clock(side, [10.0, 13.0]))),
    )


def foot(side, pushes, *, joined=True, end_s=13.0):
    contacts = own_clock(side, np.array(CONTACTS[side], float))
    return Foot(skate(side, end_s), clock(side, joined=joined), contacts, pushes)


def table_of(feet):
    return push_table("run-1", feet, list(methods("metrics").values()))


def row(table, side, push):
    (found,) = table[(table["side"] == side) & (table["push"] == push)].to_dict("records")
    return found


@pytest.fixture(scope="module")
def table():
    return table_of({"left": foot("left", 2), "right": foot("right", 3)})


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_made_rates_are_those_of_the_made_attitude(side):
    """Guard of the paper work: R' = R [w]x, away from the corners of the course."""
    rate_hz = 5000.0
    made = skate(side, rate_hz=rate_hz)
    attitude, rate = made.earth_from_segment, made.angular_velocity_rad_s
    turned = np.einsum("nji,njk->nik", attitude[:-2], attitude[2:])
    turned = (turned - turned.transpose(0, 2, 1)) * (rate_hz / 4)
    seen = np.stack([turned[:, 2, 1], turned[:, 0, 2], turned[:, 1, 0]], axis=1)
    assert np.quantile(np.abs(seen - rate[1:-1]), 0.99) < 1e-3


def test_one_row_a_push_in_order_of_blade_off(table):
    rows = list(zip(table["run"], table["side"], table["push"], strict=True))
    expected = [("right", 0), ("left", 1), ("right", 1), ("left", 2), ("right", 2)]
    assert rows == [("run-1", side, push) for side, push in expected]


@pytest.mark.parametrize("which", EXPECTED, ids=lambda which: f"{which[0]}-{which[1]}")
def test_every_column_is_as_worked_out(table, which):
    found = row(table, *which)
    for column, expected in EXPECTED[which].items():
        if column == "flags":
            assert sorted(found[column].split(";")) == sorted(expected.split(";"))
        elif isinstance(expected, str):
            assert found[column] == expected, column
        else:
            near = pytest.approx(expected, abs=TOLERANCE.get(column, 1e-4), nan_ok=True)
            assert found[column] == near, column


def test_flags_are_words_of_the_closed_list(table):
    words = {word for cell in table["flags"] for word in cell.split(";") if word}
    assert words <= set(FLAGS)


def test_left_against_right_as_worked_out(table):
    # Contact times in order of blade-off, push 0 left out: L1 empty, R1 .45, L2 .40, R2 .45. Pairs: right then
    # left (R1, L2), left then right (L2, R2). Left (.40 + .40) / 2, right (.45 + .45) / 2;
    # 100 (.45 - .40) / .425 = 11.765, right larger. Two pairs of one run: nothing can be said yet.
    metrics = {
        "contact_time_s": MetricSymmetry("index", "s"),
        "push_off_angular_velocity_deg_s": MetricSymmetry("index", "deg/s"),
        "double_support_s": MetricSymmetry("difference", "s"),
    }
    compared = symmetry_table(table, {"run-1"}, metrics, {}).set_index(["phase", "metric"])
    contact = compared.loc["acceleration", "contact_time_s"]
    assert contact["left_mean"] == pytest.approx(0.40, abs=1e-4)
    assert contact["right_mean"] == pytest.approx(0.45, abs=1e-4)
    assert contact["symmetry_index_percent"] == pytest.approx(11.765, abs=0.03)
    assert (contact["n_left"], contact["n_right"], contact["n_runs"]) == (1, 2, 1)
    # Rates: L1 442.98, R1 480, L2 556.31, R2 299.08. Left then right: (L1, R1), (L2, R2): L 499.645, R 389.54.
    # Right then left: (R1, L2): R 480, L 556.31. Left 527.98, right 434.77; 100 (-93.21) / 481.375 = -19.363.
    rate = compared.loc["acceleration", "push_off_angular_velocity_deg_s"]
    assert rate["left_mean"] == pytest.approx(527.98, abs=0.6)
    assert rate["right_mean"] == pytest.approx(434.77, abs=0.6)
    assert rate["symmetry_index_percent"] == pytest.approx(-19.363, abs=0.15)
    # Double support: L1 .15, R1 -.05, L2 .10, R2 .10. L then R: L .125, R .025; R then L: R -.05, L .10. Left
    # .1125, right -.0125: no index of a value that can be negative, the difference is -.125.
    double = compared.loc["acceleration", "double_support_s"]
    assert double["difference"] == pytest.approx(-0.125, abs=2e-4)
    assert np.isnan(double["symmetry_index_percent"])
    assert compared.loc["later", "contact_time_s"]["verdict"] == "not measured"


def test_the_run_in_one_line_as_worked_out(table):
    # Push 0 stays out. Strides .80, .65, .70: 3 / 2.15 = 1.39535 Hz; steps .50, .30, .35: 3 / 1.15 = 2.6087 Hz.
    # 30.48 m between the gates in 4.80 s: 6.35 m/s. The left foot pushes off last from standing.
    gates = Gates(np.array([0.0, 15.0, 30.48]), np.array([0.0, 2.90, 4.80]))
    row = run_row("run-1", "left_skate", table, gates, usable=True, reason="")
    assert (row["run"], row["clock"], row["start_foot"]) == ("run-1", "left_skate", "left")
    assert (row["pushes_left"], row["pushes_right"]) == (2, 2)
    assert row["stride_rate_hz"] == pytest.approx(1.39535, rel=2e-4)
    assert row["step_rate_hz"] == pytest.approx(2.6087, rel=2e-4)
    assert row["gate_time_s"] == pytest.approx(4.80)
    assert row["mean_speed_m_s"] == pytest.approx(6.35)
    assert row["usable"] is True


def test_without_gates_the_run_has_no_gate_time(table):
    row = run_row("run-1", "left_skate", table, None, usable=True, reason="")
    assert np.isnan(row["gate_time_s"])


def test_a_contact_cut_by_the_end_of_the_log():
    # The right sensor stops at 11.65: its last push has no blade-off. What rests on that is empty; the step
    # to the other foot's blade-on at 11.60, before the end, is known: 11.60 - 11.25.
    right = foot("right", 3, end_s=11.65)
    contacts = np.array(right.contacts_s[:3])
    contacts[2, 1] = np.nan
    found = table_of({"left": foot("left", 2), "right": replace(right, contacts_s=contacts)})
    assert list(zip(found["side"], found["push"], strict=True))[-1] == ("right", 2)
    cut = row(found, "right", 2)
    assert cut["flags"] == "log_end"
    assert cut["blade_on_s"] == pytest.approx(11.25, abs=1e-4)
    assert cut["step_time_s"] == pytest.approx(0.35, abs=1e-4)
    for column in ("blade_off_s", "contact_time_s", "swing_time_s", "stride_time_s", "stride_rate_hz"):
        assert np.isnan(cut[column]), column
    for column in ("double_support_s", "push_off_angular_velocity_deg_s", "edge_angle_deg"):
        assert np.isnan(cut[column]), column


def test_without_a_common_clock_each_foot_stands_by_itself():
    # Right times stay on its own clock: 11.25 is own (11.25 - 25 + 0.0005) / 1.00005 = -13.7488.
    found = table_of({side: foot(side, count, joined=False) for side, count in (("left", 2), ("right", 3))})
    assert (found["flags"].str.contains("clocks_not_synchronised")).all()
    assert not found["flags"].str.contains("first_lift").any()
    assert found[["step_time_s", "double_support_s"]].isna().all(axis=None)
    assert sorted(found["push"][found["side"] == "right"]) == [1, 2, 3]
    last = row(found, "right", 3)
    assert last["blade_on_s"] == pytest.approx(-13.7488, abs=1e-4)
    assert last["contact_time_s"] == pytest.approx(0.45, abs=1e-4)
    assert last["stride_time_s"] == pytest.approx(0.70, abs=1e-4)


def test_one_foot_alone():
    found = table_of({"right": foot("right", 3)})
    assert list(found["side"].unique()) == ["right"]
    assert found[["step_time_s", "double_support_s"]].isna().all(axis=None)
    assert found["contact_time_s"].tolist() == pytest.approx([NAN, 0.45, 0.45], abs=1e-4, nan_ok=True)


def test_exchanged_feet_turn_the_sign_of_the_edge():
    # The same motion called the other foot: inside edge becomes outside edge.
    left = foot("left", 2)
    mirrored = table_of({"right": Foot(replace(left.kinematics, side="right"), Clock(), left.contacts_s, 2)})
    # Left 1: the roll runs 0 to 12 to 10 from the end of the stance: least 0. Left 2: from -6.
    assert mirrored["edge_angle_deg"].tolist() == pytest.approx([0.0, 6.0], abs=0.4)
