import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.corner_moves import find_corner_moves
from checks.engine.distance_network import AdjustmentOutcome
from checks.engine.errors import DegenerateGeometryError
from checks.engine.outline import adjust_outline, adjust_outlines, empty_adjustment

A, B = 24_384.0, 15_240.0
PLAN = np.array([[0.0, 0.0], [A, 0.0], [A, B], [0.0, B]])
PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
ELL = np.array([[0, 0], [30, 0], [30, 12], [18, 12], [18, 24], [0, 24]]) * 1e3


def apart(points, pairs):
    points, pairs = np.asarray(points, dtype=float), np.asarray(pairs)
    return np.linalg.norm(points[pairs[:, 1]] - points[pairs[:, 0]], axis=1)


def every(n):
    return np.stack(np.triu_indices(n, 1), axis=1)


def moved(points, turn, shift):
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points) @ np.array([[c, s], [-s, c]]) + shift


def test_an_outline_as_planned_has_no_offsets():
    found = adjust_outline(PLAN, PAIRS, apart(PLAN, PAIRS), 2.0)
    assert found.determined
    assert found.outcome is AdjustmentOutcome.ADJUSTED
    assert found.missing.shape == (0, 2)
    np.testing.assert_allclose(found.offsets_mm, 0.0, atol=1e-9)
    assert found.reference_variance == pytest.approx(0.0, abs=1e-18)
    assert abs(found.skew_rad) < 1e-14


def test_worked_example_a_rectangle_skewed_by_an_inch():
    # far wall shifted 25.4 mm along itself: p² = (a + s)² + b², q² = (a - s)² + b²
    built = PLAN + np.array([[0, 0], [0, 0], [25.4, 0], [25.4, 0]])
    found = adjust_outline(PLAN, PAIRS, apart(built, PAIRS), 2.0)
    assert found.skew_rad == pytest.approx(np.arctan(25.4 / B), abs=1e-12)
    np.testing.assert_allclose(found.residuals_mm, 0.0, atol=1e-8)
    # laid on the plan, nobody knowing which corner was right: each corner a bit
    np.testing.assert_allclose(found.offsets_mm.sum(axis=0), 0.0, atol=1e-9)


@pytest.mark.parametrize("plan", [PLAN, ELL, ELL[[0, 1, 4]], PLAN * 40, PLAN / 400])
def test_outlines_of_all_sizes_and_shapes_are_recovered(plan):
    rng = np.random.default_rng(43)
    built = plan + rng.normal(scale=1e-4, size=plan.shape) * np.ptp(plan)
    pairs = every(len(plan))
    found = adjust_outline(plan, pairs, apart(built, pairs), 2.0)
    # 1e-8 mm: a kilometre in mm has 1e-10 to a bit
    np.testing.assert_allclose(found.residuals_mm, 0.0, atol=1e-8)
    np.testing.assert_allclose(
        apart(found.corners_mm, pairs), apart(built, pairs), atol=1e-8
    )


@settings(deadline=None)
@given(
    turn=st.floats(-3.0, 3.0),
    x=st.floats(-1e7, 1e7),
    y=st.floats(-1e7, 1e7),
    seed=st.integers(0, 99),
)
def test_where_the_plan_lies_does_not_matter(turn, x, y, seed):
    rng = np.random.default_rng(seed)
    read = apart(PLAN, PAIRS) + rng.normal(scale=3, size=6)
    here = adjust_outline(PLAN, PAIRS, read, 2.0)
    there = adjust_outline(moved(PLAN, turn, [x, y]), PAIRS, read, 2.0)
    np.testing.assert_allclose(here.residuals_mm, there.residuals_mm, atol=1e-6)
    np.testing.assert_allclose(
        moved(here.offsets_mm, turn, [0, 0]), there.offsets_mm, atol=1e-6
    )
    assert here.skew_rad == pytest.approx(there.skew_rad, abs=1e-10)


def test_the_order_of_readings_and_of_their_ends_does_not_matter():
    read = apart(PLAN, PAIRS) + np.array([1.0, -2.0, 0.5, 1.5, -1.0, 2.5])
    here = adjust_outline(PLAN, PAIRS, read, [1.0, 2.0, 3.0, 1.0, 2.0, 3.0])
    rotated = adjust_outline(
        PLAN, PAIRS[::-1, ::-1], read[::-1], [3.0, 2.0, 1.0, 3.0, 2.0, 1.0]
    )
    np.testing.assert_allclose(here.residuals_mm, rotated.residuals_mm[::-1], atol=1e-9)
    np.testing.assert_allclose(here.corners_mm, rotated.corners_mm, atol=1e-9)


def test_the_units_of_length_and_sigma_do_not_matter():
    read = apart(PLAN, PAIRS) + np.array([1.0, -2.0, 0.5, 1.5, -1.0, 2.5])
    here = adjust_outline(PLAN, PAIRS, read, 2.0)
    feet = adjust_outline(PLAN / 304.8, PAIRS, read / 304.8, 2.0 / 304.8)
    np.testing.assert_allclose(here.w, feet.w, rtol=1e-6)
    assert here.skew_rad == pytest.approx(feet.skew_rad, abs=1e-11)


def test_with_one_redundant_reading_the_wrong_one_cannot_be_named():
    read = apart(PLAN, PAIRS)
    read[4] += 304.8  # a foot misread on one diagonal
    found = adjust_outline(PLAN, PAIRS, read, 2.0)
    assert found.cannot_tell
    assert not found.suspect.any()
    assert found.inseparable.all()


def test_with_one_redundant_reading_and_no_error_none_is_suspect():
    found = adjust_outline(PLAN, PAIRS, apart(PLAN, PAIRS) + 0.5, 2.0)
    assert not found.cannot_tell
    assert not found.suspect.any()


def test_with_more_redundancy_the_blunder_is_named():
    pairs = every(6)
    rng = np.random.default_rng(47)
    read = apart(ELL, pairs) + rng.normal(scale=1.0, size=len(pairs))
    for wrong in range(len(pairs)):
        bad = read.copy()
        bad[wrong] += 60.0
        found = adjust_outline(ELL, pairs, bad, 1.0)
        assert np.nanargmax(np.abs(found.w)) == wrong
        assert found.suspect[wrong]
        assert not found.cannot_tell


def test_two_readings_that_only_check_each_other_are_inseparable():
    # the first wall read twice; every other reading is needed to hold the figure
    pairs = np.array([[0, 1], [0, 1], [1, 2], [2, 3], [3, 0], [0, 2]])
    read = apart(PLAN, pairs)
    read[1] += 50.0
    found = adjust_outline(PLAN, pairs, read, 2.0)
    assert found.cannot_tell
    assert found.inseparable.tolist() == [True, True, False, False, False, False]
    assert np.isnan(found.w[2:]).all()


def test_without_redundancy_there_is_no_reference_variance():
    found = adjust_outline(PLAN, PAIRS[:5], apart(PLAN, PAIRS[:5]), 2.0)
    assert found.determined
    assert found.degrees_of_freedom == 0
    assert np.isnan(found.reference_variance)
    assert not found.cannot_tell


def test_four_walls_lack_a_diagonal_and_the_listed_one_is_named():
    found = adjust_outline(
        PLAN, PAIRS[:4], apart(PLAN, PAIRS[:4]), 2.0, diagonals=[[1, 3], [0, 2]]
    )
    assert not found.determined
    assert found.outcome is AdjustmentOutcome.UNDETERMINED
    assert found.degrees_of_freedom == -1
    assert found.missing.tolist() == [[1, 3]]
    assert np.isnan(found.corners_mm).all()
    assert np.isnan(found.skew_rad)


def test_two_diagonals_lack_walls():
    found = adjust_outline(PLAN, PAIRS[4:], apart(PLAN, PAIRS[4:]), 2.0, PAIRS[4:])
    assert found.missing.tolist() == [[0, 1], [1, 2], [2, 3]]


@pytest.mark.parametrize("plan", [PLAN, ELL, ELL[[0, 1, 4]]])
def test_the_missing_readings_determine_the_outline_and_no_fewer_do(plan):
    rng = np.random.default_rng(53)
    pairs = every(len(plan))
    for _ in range(20):
        have = pairs[rng.random(len(pairs)) < rng.random()]
        found = adjust_outline(plan, have, apart(plan, have), 1.0)
        whole = np.concatenate([have, found.missing])
        assert adjust_outline(plan, whole, apart(plan, whole), 1.0).determined
        if len(found.missing):
            assert not found.determined
            less = whole[:-1]
            assert not adjust_outline(plan, less, apart(plan, less), 1.0).determined


def test_readings_enough_in_number_but_in_the_wrong_places():
    # five readings, but corner D hangs on one wall only
    pairs = np.array([[0, 1], [1, 2], [0, 2], [0, 1], [2, 3]])
    found = adjust_outline(PLAN, pairs, apart(PLAN, pairs), 2.0)
    assert found.degrees_of_freedom == 0
    assert not found.determined
    assert found.missing.tolist() == [[3, 0]]


def test_a_corner_on_a_straight_wall_is_not_held_by_the_wall_alone():
    plan = np.array([[0, 0], [12, 0], [24, 0], [24, 15], [0, 15]]) * 1e3
    pairs = np.array([[0, 1], [1, 2], [2, 3], [3, 4], [4, 0], [0, 3], [0, 2]])
    found = adjust_outline(plan, pairs, apart(plan, pairs), 2.0)
    assert not found.determined
    assert found.missing.tolist() == [[1, 3]]


def test_readings_that_fit_no_outline_are_reported_as_such():
    # a triangle whose one side is longer than the two others together
    plan = ELL[[0, 1, 4]]
    pairs = np.array([[0, 1], [1, 2], [2, 0]])
    found = adjust_outline(plan, pairs, [60_000.0, 20_000.0, 20_000.0], 1.0)
    assert not found.determined
    assert found.outcome in (AdjustmentOutcome.NOT_CONVERGED, AdjustmentOutcome.FOLDED)
    assert np.isnan(found.corners_mm).all()
    assert not found.suspect.any()
    assert not found.cannot_tell


def test_a_folded_outline_is_reported_as_such():
    # all distances of a rectangle with corner D turned over into the building
    built = PLAN.copy()
    built[3] = [A * 0.9, B * 0.2]
    pairs = every(4)
    found = adjust_outline(PLAN, pairs, apart(built, pairs), 1.0)
    assert found.outcome is AdjustmentOutcome.FOLDED
    assert np.isnan(found.offsets_mm).all()


def test_many_are_each_as_alone():
    rng = np.random.default_rng(59)
    read = apart(PLAN, PAIRS) + rng.normal(scale=3, size=(30, 6))
    read[4, 5] = np.nan
    read[5, 4:] = np.nan
    many = adjust_outlines(np.broadcast_to(PLAN, (30, 4, 2)), PAIRS, read, 2.0)
    for k in range(30):
        one = adjust_outline(PLAN, PAIRS, read[k], 2.0)
        assert one.outcome == many.outcome[k]
        np.testing.assert_allclose(one.corners_mm, many.corners_mm[k], atol=1e-8)
        assert one.skew_rad == pytest.approx(many.skew_rad[k], abs=1e-12, nan_ok=True)


def test_degenerate_plans_are_refused():
    with pytest.raises(DegenerateGeometryError, match="three corners"):
        adjust_outline(PLAN[:2], [[0, 1]], [A], 1.0)
    with pytest.raises(DegenerateGeometryError, match="one line"):
        adjust_outline([[0, 0], [1, 1], [2, 2]], [[0, 1]], [1.0], 1.0)
    with pytest.raises(DegenerateGeometryError, match="coincide"):
        adjust_outline([[0, 0], [0, 0], [2, 2], [0, 2]], [[0, 1]], [1.0], 1.0)


SKEW = np.array([[0.0, 0.0], [20e3, 0.0], [25e3, 8660.0], [5e3, 8660.0]])


def test_inputs_are_untouched():
    plan, read, sigma = PLAN.copy(), apart(PLAN, PAIRS) + 1.0, np.full(6, 2.0)
    pairs = PAIRS.copy()
    for array in (plan, read, sigma, pairs):
        array.flags.writeable = False
    found = adjust_outline(plan, pairs, read, sigma)
    corners = found.corners_mm.copy()
    corners.flags.writeable = False
    find_corner_moves(plan, corners)


def test_an_outline_without_an_adjustment_says_how_many_lengths_it_lacks():
    # Four corners have five unknowns: eight coordinates less a place and a turn.
    assert empty_adjustment(corners=4, readings=3).degrees_of_freedom == -2
