"""Heights from grade-rod readings: what must hold whatever the numbers are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.errors import EngineError
from checks.engine.levelling.level_network import adjust_height_differences
from checks.engine.levelling.levels import adjust_levels
from checks.engine.levelling.line_of_sight import (
    compute_collimation,
    compute_sight_corrections,
)


def test_a_larger_reading_is_a_lower_pad():
    found = adjust_levels([1200.0, 1203.5, 1198.0], [0, 0, 0], [0, 1, 2], 1.0)
    assert found.height_mm == pytest.approx([0.0, -3.5, 2.0], abs=1e-9)
    assert found.degrees_of_freedom == 0
    assert np.isnan(found.reference_sigma)


def test_one_set_up_has_no_loop_and_nothing_is_checked():
    found = adjust_levels([1200.0, 1203.5], [0, 0], [0, 1], 1.0)
    assert (found.loops, found.misclosure_mm) == (0, 0.0)
    assert found.redundancy == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.all(np.isnan(found.w))


def test_the_sigma_of_a_difference_in_one_set_up_is_root_two():
    found = adjust_levels([1200.0, 1203.5], [0, 0], [0, 1], 0.7)
    assert found.sigma_mm == pytest.approx([0.0, 0.7 * np.sqrt(2)])


def test_two_set_ups_are_tied_by_a_benchmark():
    # The second set-up stands 300 mm higher; point 1 is read from both.
    found = adjust_levels(
        [1200.0, 1204.0, 1504.0, 1510.0], [0, 0, 1, 1], [0, 1, 1, 2], 1
    )
    assert found.height_mm == pytest.approx([0.0, -4.0, -10.0], abs=1e-9)
    assert found.loops == 0
    assert found.sigma_mm == pytest.approx([0, np.sqrt(2), 2.0])


def test_two_shared_points_make_a_loop_and_its_misclosure():
    found = adjust_levels([1000, 1004, 1500, 1503], [0, 0, 1, 1], [0, 1, 0, 1], 1.0)
    assert found.loops == 1
    assert found.misclosure_mm == pytest.approx(1.0)
    assert found.height_mm[1] == pytest.approx(-3.5)
    assert np.abs(found.w) == pytest.approx([0.5] * 4)  # one loop: all alike
    assert found.degrees_of_freedom == 1


def test_repeats_in_one_set_up_are_redundant_but_no_loop():
    found = adjust_levels([1000, 1001, 1010], [0, 0, 0], [0, 0, 1], 1.0)
    assert found.loops == 0
    assert found.degrees_of_freedom == 1
    assert found.height_mm[1] == pytest.approx(-9.5)


def test_unconnected_set_ups_are_separate_components():
    found = adjust_levels([1, 2, 5, 9.0], [0, 0, 1, 1], [0, 1, 2, 3], 1.0)
    assert found.component.tolist() == [0, 0, 1, 1]
    assert found.height_mm == pytest.approx([0, -1, 0, -4])
    height, sigma = found.relative_to(3)
    assert np.isnan(height[:2]).all()
    assert np.isnan(sigma[:2]).all()
    assert height[2:] == pytest.approx([4, 0])


def test_a_pad_nobody_read_has_no_height():
    found = adjust_levels([1200.0, 1203.5], [0, 0], [0, 2], 1.0, n_points=4)
    assert np.isnan(found.height_mm[[1, 3]]).all()
    assert np.isnan(found.sigma_mm[[1, 3]]).all()
    assert found.component.tolist() == [0, -1, 0, -1]


def test_no_readings_give_no_heights():
    found = adjust_levels([], [], [], [], n_points=2)
    assert np.isnan(found.height_mm).all()
    assert (found.loops, found.degrees_of_freedom) == (0, 0)


def test_inputs_are_left_as_they_were():
    reading, sight = np.array([1200.0, 1203.5]), np.array([10e3, 90e3])
    adjust_levels(reading, [0, 0], [0, 1], 1.0, sight, 1e-4)
    assert reading.tolist() == [1200.0, 1203.5]
    assert sight.tolist() == [10e3, 90e3]


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_reading_that_is_no_number_is_refused(bad):
    with pytest.raises(EngineError, match="number"):
        adjust_levels([1.0, bad], [0, 0], [0, 1], 1.0)


def test_an_uncertainty_of_zero_is_refused():
    with pytest.raises(EngineError, match="uncertainty"):
        adjust_levels([1.0, 2.0], [0, 0], [0, 1], [1.0, 0.0])


def test_collimation_cancels_where_sights_are_equal():
    kept = adjust_levels([1200.0, 1203.5], [0, 0], [0, 1], 1.0, [20e3, 20e3], 5e-4)
    assert kept.height_mm[1] == pytest.approx(-3.5, abs=1e-9)


def test_a_line_of_sight_tilted_up_makes_far_pads_look_low():
    # c = 0.0002: 2 mm at 10 m, 8 mm at 40 m; both pads are level.
    found = adjust_levels([1202.0, 1208.0], [0, 0], [0, 1], 1.0, [10e3, 40e3], 2e-4)
    assert found.height_mm[1] == pytest.approx(0.0, abs=1e-9)
    assert found.correction_mm == pytest.approx([-2.0, -8.0])


def test_a_set_up_with_an_unknown_sight_is_not_corrected_at_all():
    got = compute_sight_corrections([10e3, np.nan, 10e3, 20e3], [0, 0, 1, 1], 1e-3)
    assert got == pytest.approx([0.0, 0.0, -10.0, -20.0])


@pytest.mark.parametrize(("far_m", "curved"), [(70.0, False), (70.1, True)])
def test_curvature_is_corrected_beyond_sixty_metres_of_imbalance(far_m, curved):
    got = compute_sight_corrections([10e3, far_m * 1e3], [0, 0])
    lift = 0.0673e3 * (np.array([10, far_m]) / 1e3) ** 2 if curved else np.zeros(2)
    assert got == pytest.approx(-lift, abs=1e-12)


def test_a_two_peg_test_needs_unequal_sights():
    with pytest.raises(EngineError, match="longer"):
        compute_collimation(1000, 1100, 20e3, 20e3, 100)


@st.composite
def nets(draw):
    """Some set-ups on some pads, every set-up tied to the one before."""
    pads = draw(st.integers(2, 8))
    setups = draw(st.integers(1, 5))
    edges = [(0, 0)]
    for setup in range(setups):
        # a pad of the set-up before, and a few at will
        edges.append((setup, edges[-1][1]))
        edges += [
            (setup, point)
            for point in draw(
                st.lists(st.integers(0, pads - 1), min_size=1, max_size=6)
            )
        ]
    size = len(edges)
    reading = draw(
        st.lists(st.floats(500, 2500), min_size=size, max_size=size).map(np.array)
    )
    sigma = draw(
        st.lists(st.floats(0.2, 3.0), min_size=size, max_size=size).map(np.array)
    )
    setup, point = np.array(edges).T
    return reading, setup, np.unique(point, return_inverse=True)[1], sigma


@settings(deadline=None, max_examples=60)
@given(nets())
def test_eliminating_the_pads_gives_the_result_of_the_whole_network(net):
    reading, setup, point, sigma = net
    points = point.max() + 1
    found = adjust_levels(reading, setup, point, sigma)
    # The same as a net of differences: from each pad up to the line of sight.
    whole = adjust_height_differences(
        point, points + setup, reading, sigma**-2, {0: 0.0}
    )
    assert found.height_mm == pytest.approx(whole.height[:points], abs=1e-6)
    assert found.sigma_mm == pytest.approx(whole.sigma[:points], abs=1e-6)
    assert found.residual_mm == pytest.approx(whole.residual, abs=1e-6)
    assert found.redundancy == pytest.approx(whole.redundancy, abs=1e-8)
    assert found.degrees_of_freedom == whole.degrees_of_freedom
    assert found.redundancy.sum() == pytest.approx(found.degrees_of_freedom, abs=1e-7)


@settings(deadline=None, max_examples=60)
@given(nets())
def test_readings_that_agree_have_no_misclosure(net):
    _, setup, point, sigma = net
    rng = np.random.default_rng(4)
    height = rng.normal(0, 5, point.max() + 1)
    line = rng.normal(1500, 200, setup.max() + 1)
    found = adjust_levels(line[setup] - height[point], setup, point, sigma)
    assert found.misclosure_mm == pytest.approx(0.0, abs=1e-9)
    assert found.height_mm == pytest.approx(height - height[0], abs=1e-8)
    other, sigma_other = found.relative_to(point.max())
    assert other == pytest.approx(height - height[-1], abs=1e-8)
    assert sigma_other[0] == pytest.approx(found.sigma_mm[-1], abs=1e-9)


def test_a_net_point_without_a_benchmark_is_refused():
    with pytest.raises(EngineError, match="benchmark"):
        adjust_height_differences([0, 2], [1, 3], [1.0, 2.0], 1.0, {0: 10.0})
