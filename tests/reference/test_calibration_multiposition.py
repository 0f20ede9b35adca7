"""38 positions set by hand, in raw counts, with a published calibration.

Source: test data of imu_tk (BSD licence), the program of Tedaldi, Pretto, Menegatti 2014 (ICRA, 3042-3049); README beside
the data. Gravity at the place and the published result are those of that program: true = T K (raw - bias).
"""

import json
import os
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import numpy as np
import pytest

from imustride.cli.boundary import run

DATA = (
    Path(os.environ.get("IMUSTRIDE_OPEN_DATA", Path(__file__).parents[2] / "../shared/data"))
    / "multiposition_counts"
)
GRAVITY_M_S2 = 9.81744
BIAS = (33124.2, 33275.2, 32364.4)
SCALE = (0.00241278, 0.00242712, 0.00241168)
SKEW = ((0, 1, -0.0033593), (0, 2, -0.00890639), (1, 2, -0.0213341))
RATE_BIAS = (32777.1, 32459.8, 32511.8)
RATE_SCALE = (0.000209295, 0.000209899, 0.000209483)
RATE_SKEW = np.array([[1, 0.00593634, 0.00111101], [0.00808812, 1, -0.0535569], [0.0253067, -0.0025513, 1]])


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Run the command on the two files, joined and with a header."""
    if not DATA.is_dir():
        pytest.skip(f"open data not found: {DATA.name} (IMUSTRIDE_OPEN_DATA)")
    acceleration = np.loadtxt(DATA / "accelerometer_counts.txt")
    rates = np.loadtxt(DATA / "gyroscope_counts.txt")
    path = tmp_path_factory.mktemp("counts") / "hand_set.csv"
    np.savetxt(
        path,
        np.column_stack((acceleration, rates[:, 1:])),
        delimiter=",",
        header="time,ax,ay,az,gx,gy,gz",
        comments="",
        fmt=["%.6f"] + ["%d"] * 6,
    )
    units = ["--acceleration-unit", "counts", "--angular-velocity-unit", "counts", "--time-unit", "s"]
    out = StringIO()
    with redirect_stdout(out):
        status = run(
            ["calibrate", "positions", str(path), *units, "--gravity", str(GRAVITY_M_S2), "--json", "--quiet"]
        )
    assert status == 0
    return json.loads(out.getvalue())


def test_bias_of_the_accelerometer(told):
    np.testing.assert_allclose(told["accelerometer"]["bias_counts"], BIAS, atol=0.5)


def test_scale_of_the_accelerometer(told):
    np.testing.assert_allclose(np.diag(told["accelerometer"]["matrix"]), SCALE, rtol=2e-4)


def test_misalignment_of_the_accelerometer(told):
    matrix = np.array(told["accelerometer"]["matrix"])
    for row, column, published in SKEW:
        # 4e-4 rad are 0.02 degrees; the two fits differ in what they count as one position.
        assert matrix[row, column] / matrix[column, column] == pytest.approx(published, abs=4e-4)


def test_gravity_in_every_position(told):
    """An independent least-squares fit of the 38 means leaves 0.00098 m/s^2 (README beside the data)."""
    assert len(told["positions"]) == 38
    residuals = np.array([position["residual_m_s2"] for position in told["positions"]])
    assert np.sqrt(np.mean(residuals**2)) < 0.0012


def test_scale_of_the_gyroscope_and_why_it_differs(told):
    """It departs by up to 0.16 per cent, and turns miss less with it.

    The published result takes the bias of the first 50 s for the whole recording; from position to position it
    wanders by 4 counts (0.05 deg/s), and its mean over the positions is 6 counts away in x. Here each turn has the
    bias of the rests around it. With the bias of the first 50 s the scale comes within 0.06 per cent.
    """
    gyroscope = told["gyroscope"]
    matrix, sd = np.array(gyroscope["matrix"]), np.array(gyroscope["matrix_sd"])
    np.testing.assert_allclose(np.diag(matrix), RATE_SCALE, rtol=2e-3)
    published = RATE_SKEW @ np.diag(RATE_SCALE)
    assert (np.abs(matrix - published) < 3.3 * sd).all()
    np.testing.assert_allclose(gyroscope["bias_counts"], RATE_BIAS, atol=8)
