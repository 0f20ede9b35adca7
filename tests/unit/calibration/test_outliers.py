"""Positions that disagree with the others: left out only beyond what such a sensor errs by."""

import numpy as np
import pytest

from imustride.calibration.outliers import OutlierSettings, without_outliers

# Fifteen directions all around, on a spiral; gravity has length 1 in each, known to 1e-5.
STEP = np.arange(15)
UP = 1 - (2 * STEP + 1) / 15
AROUND = STEP * np.pi * (3 - np.sqrt(5))
DIRECTIONS = np.column_stack([np.sqrt(1 - UP**2) * np.cos(AROUND), np.sqrt(1 - UP**2) * np.sin(AROUND), UP])


@pytest.mark.parametrize(("wrong", "left_out"), [(0.0, 0), (0.0015, 0), (0.010, 1)])
def test_an_error_below_three_milligravities_is_no_outlier_however_certain(wrong, left_out):
    positions = DIRECTIONS + np.random.default_rng(2).normal(0, 1e-5, DIRECTIONS.shape)
    positions[7] *= 1 + wrong
    _, used, freedom = without_outliers(positions, np.full(15, 1e-10), OutlierSettings())
    assert (~used).sum() == left_out
    assert freedom == 15 - 9 - left_out
    assert used[7] == (left_out == 0)
