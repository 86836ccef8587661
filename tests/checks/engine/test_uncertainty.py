import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.uncertainty import (
    combine_repeats,
    handling_uncertainty,
    level_uncertainty,
    reading_uncertainty,
    tape_class_limit,
)

ROOT3 = np.sqrt(3.0)


def test_class_limit_takes_the_length_up_to_whole_metres():
    # OIML R 35-1: class II is 0.3 + 0.2 L; 28.7552 m counts as 29 m
    np.testing.assert_allclose(
        tape_class_limit([28_755.2, 29_000.0, 1.0]), [6.1, 6.1, 0.5]
    )
    np.testing.assert_allclose(
        tape_class_limit([10_000.0] * 3, [1, 2, 3]), [1.1, 2.3, 4.6]
    )


def test_float_dust_on_a_whole_metre_does_not_add_a_metre():
    assert tape_class_limit([20_000.0 + 1e-9])[0] == pytest.approx(4.3)


def test_no_class_given_means_class_two_and_a_sign_does_not_matter():
    np.testing.assert_array_equal(
        tape_class_limit([-5_000.0, 5_000.0], [0, np.nan]),
        tape_class_limit([5_000.0] * 2, 2),
    )


def test_an_unknown_class_is_refused():
    with pytest.raises(ValueError, match="1, 2 or 3"):
        tape_class_limit([1_000.0], [4])


def test_reading_by_hand():
    found = reading_uncertainty([20_000.0], [1.5875], [2], [False])
    assert found.class_mm[0] == pytest.approx(4.3 / ROOT3)
    assert found.resolution_mm[0] == pytest.approx(1.5875 / 2 / ROOT3)
    assert found.temperature_mm[0] == pytest.approx(11.6e-6 * 10 * 20_000 / ROOT3)
    assert found.combined_mm[0] == pytest.approx(
        np.hypot(np.sqrt(4.3**2 + (1.5875 / 2) ** 2 + 2.32**2) / ROOT3, 1.5)
    )


def test_handling_grows_with_the_length_up_to_ten_metres():
    # min(0.5 + 0.1 L, 1.5) mm with L in metres: project choice
    np.testing.assert_allclose(
        handling_uncertainty([0.0, -2_000.0, 10_000.0, 30_000.0]), [0.5, 0.7, 1.5, 1.5]
    )


def test_a_temperature_that_was_noted_adds_nothing():
    assert reading_uncertainty([20_000.0], 1.0, 2, True).temperature_mm[0] == 0.0


def test_level_is_in_proportion_to_the_sight_and_thirty_metres_if_none_was_given():
    found = level_uncertainty(
        [30_000.0, 15_000.0, np.nan, 30_000.0], 0.0, [np.nan] * 3 + [0.4]
    )
    np.testing.assert_allclose(found.combined_mm, [1.0, 0.5, 1.0, 0.4])


def test_repeats_of_one_tape_and_day_lower_resolution_and_handling_alone():
    parts = reading_uncertainty([20_000.0] * 4, 1.5875, 2, False)
    found = combine_repeats(
        [0, 0, 0, 0], 1, [20_001.0, 20_002.0, 20_003.0, 20_004.0], parts
    )
    shared = np.hypot(parts.class_mm[0], parts.temperature_mm[0])
    assert found.mean_mm[0] == pytest.approx(20_002.5)
    assert found.uncertainty_mm[0] == pytest.approx(
        np.hypot(shared, parts.independent_mm[0] / 2)
    )
    assert found.independent_mm[0] == pytest.approx(parts.independent_mm[0] / 2)
    np.testing.assert_allclose(
        found.common_mm[0], [parts.class_mm[0], parts.temperature_mm[0]]
    )
    assert found.count[0] == 4
    assert found.spread_mm[0] == pytest.approx(3.0)


def test_spread_limit_of_a_pair_is_twice_the_uncertainty_of_their_difference():
    parts = reading_uncertainty(
        [20_000.0, 20_000.0], [1.5875, 3.175], [1, 3], [True, False]
    )
    apart = np.diag(parts.class_mm)  # two tapes, one temperature noted
    apart = np.column_stack([apart, parts.temperature_mm])
    found = combine_repeats([0, 0], 1, [20_000.0, 20_000.0], parts, apart)
    assert found.spread_limit_mm[0] == pytest.approx(2 * np.hypot(*parts.combined_mm))
    assert found.uncertainty_mm[0] == pytest.approx(np.hypot(*parts.combined_mm) / 2)


def test_what_a_pair_has_in_common_cancels_in_its_spread():
    parts = reading_uncertainty([20_000.0] * 2, 1.5875, 2, False)
    found = combine_repeats([0, 0], 1, [20_000.0, 20_000.0], parts)
    assert found.spread_limit_mm[0] == pytest.approx(
        2 * np.hypot(*parts.independent_mm)
    )


def test_spread_limit_of_three_is_that_of_the_mean_pair():
    parts = reading_uncertainty([20_000.0] * 3, 1.5875, [1, 2, 3], True)
    loading = np.array([[2.0, 0.0], [0.0, 3.0], [1.0, 0.0]])
    found = combine_repeats([0, 0, 0], 1, [20_000.0] * 3, parts, loading)
    own = parts.independent_mm**2
    pairs = [
        own[i] + own[j] + ((loading[i] - loading[j]) ** 2).sum()
        for i, j in ((0, 1), (0, 2), (1, 2))
    ]
    assert found.spread_limit_mm[0] == pytest.approx(2 * np.sqrt(np.mean(pairs)))


def test_a_pair_an_inch_apart_disagrees_and_one_a_sixteenth_apart_does_not():
    parts = reading_uncertainty([228.6] * 4, 1.5875, 2, True)
    found = combine_repeats([0, 0, 1, 1], 2, [228.6, 254.0, 228.6, 230.1875], parts)
    assert found.disagree.tolist() == [True, False]


def test_a_check_without_a_reading_has_none_and_one_reading_cannot_disagree():
    parts = reading_uncertainty([10.0], 1.0)
    found = combine_repeats([2], 3, [10.0], parts)
    assert found.count.tolist() == [0, 0, 1]
    assert np.isnan(found.mean_mm).tolist() == [True, True, False]
    assert np.isnan(found.uncertainty_mm).tolist() == [True, True, False]
    assert found.disagree.tolist() == [False, False, False]
    assert found.spread_mm[2] == 0.0


def test_no_readings_at_all():
    found = combine_repeats([], 2, [], reading_uncertainty([], 1.0))
    assert np.isnan(found.mean_mm).all()
    assert not found.disagree.any()


def test_a_reading_of_a_check_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="check 3 of 3"):
        combine_repeats([3], 3, [1.0], reading_uncertainty([1.0], 1.0))


@given(
    values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=30),
    seed=st.integers(0, 1000),
)
def test_the_order_of_readings_does_not_matter(values, seed):
    rng = np.random.default_rng(seed)
    values = np.array(values)
    index = rng.integers(0, 4, values.size)
    order = rng.permutation(values.size)
    a = combine_repeats(index, 4, values, reading_uncertainty(values, 1.0))
    b = combine_repeats(
        index[order], 4, values[order], reading_uncertainty(values[order], 1.0)
    )
    np.testing.assert_allclose(a.mean_mm, b.mean_mm, atol=1e-8)
    np.testing.assert_allclose(a.uncertainty_mm, b.uncertainty_mm)
    np.testing.assert_array_equal(a.spread_mm, b.spread_mm)
    for check in np.unique(index):
        mine = values[index == check]
        assert a.mean_mm[check] == pytest.approx(mine.mean(), abs=1e-8)
        assert a.spread_mm[check] == np.ptp(mine)


def test_like_readings_have_exactly_their_value_as_mean():
    value = 23 * 304.8 + 4.5 * 25.4
    parts = reading_uncertainty([value] * 3, 1.0)
    assert combine_repeats([0, 0, 0], 1, [value] * 3, parts).mean_mm[0] == value
