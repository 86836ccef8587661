"""Strength gain against printed constants and values worked by hand.

ACI 209R-92 eq. 2-1, its constants seen second-hand; EN 1992-1-1:2004 3.1.2(6), the
values of s from the text of the standard.
"""

import numpy as np
import pytest

from checks.engine.concrete.strength_gain import (
    compute_gain_aci,
    compute_gain_en,
    compute_plausible_strength,
    find_implausible,
)

AGES = (1.0, 3.0, 7.0, 14.0, 28.0, 90.0)


@pytest.mark.parametrize(
    ("constants", "shares"),
    [
        ((4.0, 0.85), (0.2062, 0.4580, 0.7035, 0.8805, 1.0072, 1.1180)),
        ((2.3, 0.92), (0.3106, 0.5929, 0.8009, 0.9223, 0.9979, 1.0576)),
        ((1.0, 0.95), (0.5128, 0.7792, 0.9150, 0.9790, 1.0145, 1.0405)),
        ((0.70, 0.98), (0.5952, 0.8242, 0.9259, 0.9709, 0.9950, 1.0124)),
    ],
    ids=["I moist", "III moist", "I steam", "III steam"],
)
def test_gain_by_aci_209r(constants: tuple[float, float], shares: tuple[float, ...]):
    # t / (a + b t) by hand to four decimals
    assert compute_gain_aci(AGES, constants) == pytest.approx(shares, abs=5e-5)


@pytest.mark.parametrize(
    ("s", "shares"),
    [
        (0.20, (0.4239, 0.6630, 0.8187, 0.9205, 1.0, 1.0925)),
        (0.25, (0.3420, 0.5982, 0.7788, 0.9016, 1.0, 1.1169)),
        (0.38, (0.1958, 0.4580, 0.6839, 0.8544, 1.0, 1.1830)),
    ],
)
def test_gain_by_en_1992(s: float, shares: tuple[float, ...]):
    # exp(s (1 - sqrt(28 / t))) by hand to four decimals
    assert compute_gain_en(AGES, s) == pytest.approx(shares, abs=5e-5)


def test_the_bound_is_twice_the_faster_of_the_two():
    ages = (0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 14.0, 28.0, 90.0)
    bound = (0.55, 0.85, 1.16, 1.33, 1.52, 1.64, 1.84, 2.00, 2.18)
    # 2 max(t / (2.3 + 0.92 t), exp(0.2 (1 - sqrt(28 / t)))) by hand to two decimals
    assert compute_plausible_strength(ages, 1.0) == pytest.approx(bound, abs=5.1e-3)


def test_2900_psi_on_3000_is_believed_at_three_days_and_not_at_one():
    found = find_implausible([2900.0, 2900.0], [3.0, 1.0], 3000.0)
    assert found.tolist() == [False, True]


def test_an_unknown_age_or_strength_asks_for_nothing():
    assert not find_implausible([9000.0], [np.nan], 3000.0).any()
    assert not find_implausible([9000.0], [1.0], float("nan")).any()
