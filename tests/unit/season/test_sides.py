import numpy as np
import pandas as pd
import pytest

from imustride.season.sides import of_a_coin, share_of, side_agreement, sides


def table(**athletes):
    return pd.DataFrame([{"athlete": a, "level": x} for a, levels in athletes.items() for x in levels])


def test_a_coin_worked_out_on_paper():
    assert of_a_coin(8, 0) == pytest.approx(2 / 256)
    assert of_a_coin(1, 7) == pytest.approx(2 * 9 / 256)
    assert of_a_coin(3, 3) == 1.0
    assert of_a_coin(0, 0) == 1.0


def test_exact_interval_of_all_of_eight():
    share = share_of(8, 8)  # lower limit solves p^8 = 0.025
    assert (share.value, share.low, share.high) == pytest.approx((1.0, 0.025 ** (1 / 8), 1.0))


def test_sides_of_three_athletes():
    found = sides(table(A=[3.0] * 8, B=[1.0] * 7 + [-1.0], C=[-2.0] * 5, D=[-4.0, -1.0] * 4)).set_index(
        "athlete"
    )
    assert found["side"].to_dict() == {
        "A": "right, consistently",
        "B": "no consistent side",  # 2 x 9 / 256 = 0.07
        "C": "too few sessions",
        "D": "left, consistently",
    }
    assert found.loc["B", ["mean", "size", "right"]].tolist() == [0.75, 1.0, 7]
    assert found.loc["D", "ci_low"] == pytest.approx(
        -2.5 - 2.364624 * np.sqrt(8 * 2.25 / 7 / 8)
    )  # t(7), 97.5 %


def test_agreement_worked_out_on_paper():
    # Two of three athletes keep their side; half of all are right, so chance agrees by half: (2/3 - 1/2) / (1/2).
    assert side_agreement(table(A=[1, 1], B=[-1, -1], C=[1, -1])).value == pytest.approx(1 / 3)


def test_agreement_of_coins_and_of_fixed_sides():
    rng = np.random.default_rng(2)
    coins = side_agreement(table(**{f"A{k}": rng.standard_normal(8) for k in range(30)}))
    assert abs(coins.value) < 0.1
    assert coins.low <= 0.0
    assert coins.high < 0.2
    kept = side_agreement(table(**{f"A{k}": [(-1) ** k] * 8 for k in range(30)}))
    assert kept.value == 1.0
    assert kept.low > 0.8


def test_agreement_is_not_told_without_anybody_to_disagree():
    assert np.isnan(side_agreement(table(A=[1, 1], B=[1, 1], C=[2, 1])).value)
    assert np.isnan(side_agreement(table(A=[1, -1], B=[1, 1])).value)
