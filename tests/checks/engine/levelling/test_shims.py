"""Shim stacks against every stack there is, and the pad worth lowering."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.errors import EngineError
from checks.engine.levelling.shims import (
    count_pack_list,
    find_shim_stacks,
)

INCHES = np.array([1 / 16, 1 / 8, 1 / 4, 1 / 2]) * 25.4


def best_by_trying_all(shortfall, plates):
    """The best of all stacks, in whole millionths of a millimetre."""
    most = [shortfall // plate + 2 for plate in plates]
    thickest_first = sorted(range(len(plates)), key=lambda i: -plates[i])
    stacks = [c for c in product(*(range(m + 1) for m in most)) if any(c)]

    def worth(counts):
        total = sum(n * plate for n, plate in zip(counts, plates, strict=True))
        listed = tuple(-counts[i] for i in thickest_first)
        return abs(total - shortfall), total, sum(counts), listed

    return min(stacks, key=worth)


@settings(deadline=None, max_examples=150)
@given(
    plates=st.lists(st.integers(1, 40), min_size=1, max_size=4, unique=True),
    sixteenths=st.integers(0, 60),
    part=st.sampled_from([0, 250_000, 500_000, 793_750]),
)
def test_the_stack_is_the_best_of_all_there_are(plates, sixteenths, part):
    unit = 1_587_500  # a sixteenth of an inch in millionths of a millimetre
    plates = [max(plate, 3) * unit for plate in dict.fromkeys(plates)]
    plates = list(dict.fromkeys(plates))
    shortfall = sixteenths * unit + part
    found = find_shim_stacks([shortfall / 1e6], np.array(plates) / 1e6)
    assert tuple(found.counts[0]) == best_by_trying_all(shortfall, plates)


@settings(deadline=None, max_examples=60)
@given(
    plates=st.lists(
        st.integers(700_000, 6_000_000), min_size=1, max_size=3, unique=True
    ),
    shortfall=st.integers(0, 7_000_000),
)
def test_awkward_thicknesses_are_exact_to_the_millionth(plates, shortfall):
    found = find_shim_stacks([shortfall / 1e6], np.array(plates) / 1e6)
    assert tuple(found.counts[0]) == best_by_trying_all(shortfall, plates)


def test_four_millimetres_take_an_eighth_and_a_sixteenth():
    found = find_shim_stacks([4.0], INCHES)
    assert found.total_mm.tolist() == [4.7625]
    assert found.counts.tolist() == [[1, 1, 0, 0]]
    assert found.residual_mm[0] == pytest.approx(0.7625, abs=1e-12)


def test_of_two_equally_near_the_thinner_is_taken():
    found = find_shim_stacks([1.5 * 25.4 / 16], INCHES)
    assert found.total_mm.tolist() == [1.5875]


def test_the_fewest_plates_are_taken_even_where_the_thickest_leads_astray():
    # 8 = 5 + 2 + 1 in thickest-first steps, 4 + 4 in the fewest
    assert find_shim_stacks([8.0], [1, 2, 4, 5]).counts.tolist() == [[0, 0, 2, 0]]


def test_of_equally_few_the_thicker_plates_come_first():
    # 6 = 5 + 1 = 3 + 3
    assert find_shim_stacks([6.0], [1, 2, 3, 5]).counts.tolist() == [[1, 0, 0, 1]]


def test_a_pad_that_needs_a_shim_gets_at_least_one_plate():
    assert find_shim_stacks([0.2], [2.0, 3.0]).counts.tolist() == [[1, 0]]


def test_counts_follow_the_order_the_thicknesses_were_given_in():
    found = find_shim_stacks([4.0], INCHES[::-1])
    assert found.counts.tolist() == [[0, 0, 1, 1]]


def test_without_plates_nothing_is_reachable():
    found = find_shim_stacks([4.0], [])
    assert found.reachable.tolist() == [False]
    assert np.isnan(found.total_mm).all()


def test_an_unknown_shortfall_gets_no_stack():
    found = find_shim_stacks([np.nan, 1.0], [1.0])
    assert found.reachable.tolist() == [False, True]
    assert found.counts.tolist() == [[0], [1]]


def test_no_pads_give_no_stacks():
    assert find_shim_stacks([], INCHES).counts.shape == (0, 4)


def test_a_thickness_given_twice_is_no_trouble():
    assert find_shim_stacks([2.0], [1.0, 1.0]).counts.sum() == 2


def test_a_tall_stack_is_found():
    found = find_shim_stacks([300.0], INCHES)
    assert found.total_mm[0] == pytest.approx(300.0375)
    assert found.counts.tolist() == [[1, 0, 1, 23]]


@pytest.mark.parametrize(
    ("shortfall", "plates", "says"),
    [
        ([1.0], [0.0, 1.0], "more than zero"),
        ([-1.0], [1.0], "negative"),
    ],
)
def test_negative_shortfalls_and_thicknesses_are_refused(shortfall, plates, says):
    with pytest.raises(EngineError, match=says):
        find_shim_stacks(shortfall, plates)


def test_the_pack_list_adds_up_all_stacks():
    found = find_shim_stacks([4.0, 4.0, 7.9], INCHES)
    assert count_pack_list(found.counts).tolist() == [3, 2, 1, 0]


def test_thicknesses_without_a_common_measure_count_to_a_thousandth():
    found = find_shim_stacks([30.0, 57.3], [1.234567, 2.345671])
    assert found.total_mm == pytest.approx(found.counts @ [1.234567, 2.345671])
    assert np.abs(found.residual_mm).max() < 0.2
    assert found.reachable.all()


def test_a_shortfall_beyond_all_sums_has_no_stack():
    found = find_shim_stacks([5e7], [1.234567, 2.345671])
    assert (found.reachable.tolist(), found.counts.sum()) == ([False], 0)
    assert np.isnan(found.total_mm).all()
