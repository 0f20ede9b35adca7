import numpy as np
import pytest

from imustride.recording import stretches


@pytest.mark.parametrize(
    ("mask", "expected"),
    [
        ([], []),
        ([False, False], []),
        ([True], [(0, 1)]),
        ([True, True, False, True], [(0, 2), (3, 4)]),
        ([False, True, True], [(1, 3)]),
    ],
)
def test_stretches_are_half_open(mask, expected):
    assert [tuple(span) for span in stretches(np.array(mask, bool))] == expected
