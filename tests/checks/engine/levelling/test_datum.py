"""The datum of the pads: what must hold whatever they are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.levelling.datum import estimate_datum
from tests.bench.levels import QUARTER_INCH_MM, simulate_rates

LIMIT = 3.175
HEIGHTS = st.lists(st.floats(-20, 20), min_size=1, max_size=12)


@settings(max_examples=50, deadline=None)
@given(heights=HEIGHTS, seed=st.integers(0, 1000), level=st.floats(-1e6, 1e6))
def test_neither_order_nor_level_changes_a_depth(heights, seed, level):
    height = np.array(heights)
    order = np.random.default_rng(seed).permutation(height.size)
    found = estimate_datum(height, 1.0, LIMIT)
    again = estimate_datum((height + level)[order], 1.0, LIMIT)
    np.testing.assert_allclose(again.depth_mm, found.depth_mm[order], atol=1e-6)
    np.testing.assert_allclose(
        again.probability_within, found.probability_within[order], atol=1e-6
    )
    assert again.datum_mm - level == pytest.approx(found.datum_mm, abs=1e-6)


@settings(max_examples=50, deadline=None)
@given(heights=HEIGHTS, limit=st.floats(1.0, 6.0))
def test_no_pad_stands_above_the_highest_and_the_limit_splits_at_a_half(heights, limit):
    found = estimate_datum(heights, 1.0, limit)
    assert (found.depth_mm >= 0.0).all()
    clear = np.abs(found.depth_mm - limit) > 1e-3
    low = found.depth_mm > limit
    assert ((found.probability_within < 0.5) == low)[clear].all()


@pytest.mark.parametrize("seed", range(8))
def test_a_depth_is_the_median_also_close_to_the_highest(seed):
    rng = np.random.default_rng(seed)
    height = rng.normal(0.0, rng.choice([0.3, 1.0, 3.0]), 14)
    found = estimate_datum(height, 1.0, LIMIT)
    for depth in found.depth_mm[found.depth_mm > 0.0]:
        within = estimate_datum(height, 1.0, depth).probability_within
        at = int(np.flatnonzero(found.depth_mm == depth)[0])
        assert within[at] == pytest.approx(0.5, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(heights=st.lists(st.integers(-80, 80), min_size=1, max_size=12, unique=True))
def test_without_noise_depths_are_differences_of_readings(heights):
    height = np.array(heights) / 4.0
    found = estimate_datum(height, 1e-4, LIMIT)
    np.testing.assert_allclose(found.depth_mm, height.max() - height, atol=1e-5)
    assert found.datum_mm == pytest.approx(height.max(), abs=1e-5)


def test_a_pad_nobody_read_has_no_depth_and_counts_for_none():
    found = estimate_datum([0.0, np.nan, -5.0, 0.4, 0.2], 1.0, LIMIT)
    assert np.isnan(found.depth_mm[1])
    assert np.isnan(found.probability_within[1])
    without = estimate_datum([0.0, -5.0, 0.4, 0.2], 1.0, LIMIT)
    np.testing.assert_array_equal(found.depth_mm[[0, 2, 3, 4]], without.depth_mm)
    empty = estimate_datum([np.nan, np.nan], 1.0, LIMIT)
    assert np.isnan(empty.datum_mm)


def test_a_pad_read_badly_does_not_pull_the_datum_up():
    good = estimate_datum([0.1, -0.2, 0.0, 0.2, -0.1], 0.3, LIMIT)
    height = [0.1, -0.2, 0.0, 0.2, -0.1, 4.0]
    mixed = estimate_datum(height, [0.3, 0.3, 0.3, 0.3, 0.3, 3.0], LIMIT)
    assert mixed.datum_mm < good.datum_mm + 1.0
    assert (mixed.depth_mm[:5] < LIMIT).all()


def test_an_uncertainty_that_is_not_positive_is_refused():
    with pytest.raises(ValueError, match="positive"):
        estimate_datum([0.0, 1.0], [1.0, 0.0], LIMIT)


@pytest.mark.parametrize("pads", [8, 20, 40])
def test_level_pads_are_seldom_called_low(pads):
    # the maximum is wrong in a third to all of such jobs
    rates = simulate_rates(pads, 1.0, 0.0, jobs=100)
    assert rates.false_low[0] > 0.2
    assert rates.false_low[1] <= 0.04


def test_a_pad_a_quarter_inch_low_is_found():
    rates = simulate_rates(20, 1.0, 0.0, low=QUARTER_INCH_MM, jobs=150)
    assert rates.found[1] >= 0.98
