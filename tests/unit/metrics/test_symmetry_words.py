import numpy as np
import pandas as pd
import pytest

from imustride.metrics.symmetry_words import describe

ROW = {
    "unit": "s", "n_left": 28, "n_right": 27, "n_runs": 4, "symmetry_index_percent": 6.12, "ci_low_percent": 2.44,
    "ci_high_percent": 9.8, "difference": 0.0189, "difference_ci_low": 0.0075, "difference_ci_high": 0.0302,
    "smallest_difference": 5.0, "smallest_difference_source": "convention, no source", "verdict": "right larger",
    "systematic_percent": 1.2, "systematic_difference": 0.004, "random_percent": 3.4, "random_difference": 0.01,
    "runs_needed": pd.NA, "advice": "",
}  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {},
            (
                "Contact time: right longer by 6.1 % (95 % interval 2.4 to 9.8 %, positive is right; 4 runs, 28 left and "
                "27 right pushes); right larger."
            ),
        ),
        (
            {"symmetry_index_percent": -1.1, "ci_low_percent": -3.6, "ci_high_percent": 1.4, "verdict": "alike"},
            (
                "Contact time: left longer by 1.1 % (95 % interval -3.6 to 1.4 %, positive is right; 4 runs, 28 left and "
                "27 right pushes); alike: within 5 % (a convention, no source)."
            ),
        ),
        (
            {"n_runs": 1, "verdict": "unclear", "advice": "more_runs", "runs_needed": 2},
            (
                "Contact time: right longer by 6.1 % (95 % interval 2.4 to 9.8 %, positive is right; 1 run, for that run "
                "only, 28 left and 27 right pushes); unclear: about 1 more run of this kind would tell."
            ),
        ),
        (
            {"verdict": "unclear", "advice": "more_runs"},
            (
                "Contact time: right longer by 6.1 % (95 % interval 2.4 to 9.8 %, positive is right; 4 runs, 28 left and "
                "27 right pushes); unclear: even 30 runs of this kind would hardly tell."
            ),
        ),
        (
            {"verdict": "unclear", "advice": "better_calibration", "systematic_percent": 6.34},
            (
                "Contact time: right longer by 6.1 % (95 % interval 2.4 to 9.8 %, positive is right; 4 runs, 28 left and "
                "27 right pushes); unclear: more runs cannot tell, only a better calibration (its part alone is "
                "+-6.3 %)."
            ),
        ),
        (
            {"verdict": "unclear", "advice": "near_smallest_difference"},
            (
                "Contact time: right longer by 6.1 % (95 % interval 2.4 to 9.8 %, positive is right; 4 runs, 28 left and "
                "27 right pushes); unclear: too near to the smallest difference of 5 % to tell."
            ),
        ),
        (
            {
                "verdict": "unclear", "advice": "more_runs", "ci_low_percent": np.nan, "ci_high_percent": np.nan,
                "random_difference": np.nan,
            },
            (
                "Contact time: right longer by 6.1 % (too few pushes for an interval; 4 runs, 28 left and 27 right "
                "pushes); unclear: more runs are needed."
            ),
        ),
        (
            {"symmetry_index_percent": np.nan, "smallest_difference": 0.015},
            (
                "Contact time: right longer by 0.019 s (95 % interval 0.007 to 0.030 s, positive is right; 4 runs, 28 left "
                "and 27 right pushes); right larger."
            ),
        ),
        (
            {"symmetry_index_percent": 0.0, "verdict": "alike"},
            (
                "Contact time: no difference (95 % interval 2.4 to 9.8 %, positive is right; 4 runs, 28 left and 27 right "
                "pushes); alike: within 5 % (a convention, no source)."
            ),
        ),
        (
            {"verdict": "not measured", "advice": "no_pairs"},
            "Contact time: not measured; too few neighbouring pushes of both feet with a value.",
        ),
        (
            {"verdict": "not measured", "advice": "join_clocks"},
            "Contact time: not measured; the clocks of the two sensors could not be joined.",
        ),
    ],
)  # fmt: skip
def test_a_row_in_one_sentence(changes, sentence):
    assert describe(ROW | changes, "Contact time", "longer") == sentence
