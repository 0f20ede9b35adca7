import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import tests.hand_built as made
from imustride.pipeline import analyse_logs
from tests.hand_built import Skate, skate_log


class Smooth(made.Skate):
    def ice(self, time_s):
        out = super().ice(time_s)
        out[(time_s > made.STOP_S[0]) & (time_s < made.STOP_S[1])] = 0.0
        return out


@pytest.mark.parametrize("rate_hz", [400.0, 1000.0])
def test_a_smooth_stop_is_not_taken_for_standing(rate_hz, monkeypatch):
    monkeypatch.setattr(made, "Skate", Smooth)
    log = skate_log("left", rate_hz, Rotation.from_rotvec([1.2, -0.7, 2.0]).as_matrix(), seed=1)
    found = analyse_logs("run-1", {"left_skate": log}).kinematics["left"]
    inside = (found.time_s > 7) & (found.time_s < 11.5)
    up = Skate("left").attitude(found.time_s[inside])[:, 2, :]
    tilt = np.arccos(np.clip((up * found.earth_from_segment[inside, 2, :]).sum(axis=1), -1, 1))
    assert np.degrees(tilt).max() < 0.8
