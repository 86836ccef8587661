import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.rigid_fit import (
    RigidFitOutcome,
    fit_plate_within,
    fit_rigid,
    rotation_chord_mm,
)

SQUARE = np.array([[[-50.0, 228.6], [50.0, 228.6], [-50.0, 355.6], [50.0, 355.6]]])


def moved(points, turn, shift):
    middle = points.mean(axis=1, keepdims=True)
    c, s = np.cos(turn), np.sin(turn)
    turned = (points - middle) @ np.array([[c, s], [-s, c]])
    return middle + np.asarray(shift) + turned


@given(
    turn=st.floats(-3.1, 3.1),
    x=st.floats(-1e4, 1e4),
    y=st.floats(-1e4, 1e4),
    far=st.floats(-1e6, 1e6),
)
def test_a_pure_movement_is_found_wherever_the_grid_origin_is(turn, x, y, far):
    plan = SQUARE + far
    found = fit_rigid(plan, moved(plan, turn, (x, y)))
    assert found.rotation_rad[0] == pytest.approx(turn, abs=1e-10)
    np.testing.assert_allclose(found.shift_mm[0], [x, y], atol=1e-8)
    np.testing.assert_allclose(found.residuals_mm, 0.0, atol=1e-8)
    assert found.outcome[0] == RigidFitOutcome.FITTED


def test_residuals_and_movement_give_the_measured_points_back():
    rng = np.random.default_rng(3)
    plan = rng.normal(scale=100, size=(50, 6, 2))
    built = moved(plan, 0.01, (3.0, -2.0)) + rng.normal(scale=2, size=plan.shape)
    found = fit_rigid(plan, built)
    for g in range(50):
        c, s = np.cos(found.rotation_rad[g]), np.sin(found.rotation_rad[g])
        middle = plan[g].mean(axis=0)
        fitted = middle + found.shift_mm[g] + (plan[g] - middle) @ [[c, s], [-s, c]]
        np.testing.assert_allclose(fitted + found.residuals_mm[g], built[g], atol=1e-10)
    np.testing.assert_allclose(found.residuals_mm.sum(axis=1), 0.0, atol=1e-9)


def test_one_rod_shifts_without_turning():
    found = fit_rigid([[[10.0, 20.0]]], [[[13.0, 16.0]]])
    assert found.rotation_rad[0] == 0.0
    assert found.shift_mm[0].tolist() == [3.0, -4.0]
    assert found.outcome[0] == RigidFitOutcome.SHIFT_ONLY


def test_two_rods_give_a_turn():
    found = fit_rigid([[[0.0, 0.0], [100.0, 0.0]]], [[[0.0, 0.0], [0.0, 100.0]]])
    assert found.rotation_rad[0] == pytest.approx(np.pi / 2)
    np.testing.assert_allclose(found.shift_mm[0], [-50.0, 50.0], atol=1e-12)


def test_points_that_coincide_do_not_turn():
    plan = np.array([[[5.0, 5.0], [5.0, 5.0]]])
    found = fit_rigid(plan, [[[6.0, 5.0], [8.0, 5.0]]])
    assert found.rotation_rad[0] == 0.0
    assert found.outcome[0] == RigidFitOutcome.SHIFT_ONLY
    other = fit_rigid([[[6.0, 5.0], [8.0, 5.0]]], plan)
    assert other.outcome[0] == RigidFitOutcome.SHIFT_ONLY
    np.testing.assert_allclose(other.shift_mm[0], [-2.0, 0.0])


def test_points_that_tell_no_turn_do_not_get_one():
    # a square mirrored onto itself: every turn fits equally badly
    plan = np.array([[[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]]]) * 100
    found = fit_rigid(plan, plan * [1.0, -1.0])
    assert found.outcome[0] == RigidFitOutcome.SHIFT_ONLY
    assert found.rotation_rad[0] == 0.0


def test_a_group_with_no_rod_measured_is_unmeasured():
    found = fit_rigid(SQUARE, np.full_like(SQUARE, np.nan))
    assert found.outcome[0] == RigidFitOutcome.UNMEASURED
    assert np.isnan(found.rotation_rad[0])
    assert np.isnan(found.shift_mm).all()
    assert np.isnan(found.residuals_mm).all()


def test_a_missing_rod_still_leaves_the_shift_of_the_whole_group():
    built = moved(SQUARE, 0.02, (4.0, -1.0))
    built[0, 2] = np.nan
    found = fit_rigid(SQUARE, built)
    assert found.rotation_rad[0] == pytest.approx(0.02)
    np.testing.assert_allclose(found.shift_mm[0], [4.0, -1.0])
    assert np.isnan(found.residuals_mm[0, 2]).all()


def test_padding_does_not_move_the_centroid():
    plan = np.concatenate([SQUARE, np.full((1, 2, 2), np.nan)], axis=1)
    built = np.concatenate(
        [moved(SQUARE, 0.02, (4.0, -1.0)), np.full((1, 2, 2), np.nan)], axis=1
    )
    found = fit_rigid(plan, built)
    np.testing.assert_allclose(found.shift_mm[0], [4.0, -1.0])


def test_a_rod_of_no_weight_takes_no_part_but_shows_its_residual():
    built = moved(SQUARE, 0.0, (1.0, 0.0))
    built[0, 3] += [30.0, 0.0]
    found = fit_rigid(SQUARE, built, [[True, True, True, False]])
    np.testing.assert_allclose(found.shift_mm[0], [1.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(found.residuals_mm[0, 3], [30.0, 0.0], atol=1e-9)


def test_groups_do_not_touch_each_other():
    rng = np.random.default_rng(5)
    plan, built = rng.normal(scale=90, size=(2, 20, 4, 2))
    together = fit_rigid(plan, built)
    alone = fit_rigid(plan[7:8], built[7:8])
    assert together.rotation_rad[7] == alone.rotation_rad[0]
    np.testing.assert_array_equal(together.shift_mm[7], alone.shift_mm[0])


def test_wrong_shapes_and_weights_are_refused():
    with pytest.raises(ValueError, match="n_groups"):
        fit_rigid(SQUARE[0], SQUARE[0])
    with pytest.raises(ValueError, match="weights"):
        fit_rigid(SQUARE, SQUARE, [[1.0]])
    with pytest.raises(ValueError, match="negative"):
        fit_rigid(SQUARE, SQUARE, [[1.0, 1.0, 1.0, -1.0]])


def test_inputs_are_untouched():
    plan, built = SQUARE.copy(), SQUARE + 1.0
    plan.flags.writeable = built.flags.writeable = False
    fit_rigid(plan, built)


def _grid_overrun(holes, rods, clearance, move):
    """The least largest overrun within the limits, by a grid that closes in."""
    middle = holes.mean(axis=0)
    arm, towards = holes - middle, rods - middle
    radius = np.hypot(*arm.T).max()
    reach = np.array([move, move, 2.0 * np.arcsin(min(1.0, move / (2.0 * radius)))])
    here, span, best = np.zeros(3), reach.copy(), np.inf
    steps = np.linspace(-1.0, 1.0, 9)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    for _ in range(70):
        tried = np.clip(here + span * cube, -reach, reach)
        c, s = np.cos(tried[:, 2:]), np.sin(tried[:, 2:])
        x = c * arm[:, 0] - s * arm[:, 1] + tried[:, :1] - towards[:, 0]
        y = s * arm[:, 0] + c * arm[:, 1] + tried[:, 1:2] - towards[:, 1]
        worst = (np.hypot(x, y) - clearance).max(axis=1)
        if worst.min() < best:
            best, here = worst.min(), tried[worst.argmin()]
        span *= 0.78
    return best


@pytest.mark.parametrize("seed", range(12))
def test_no_placement_within_the_limits_is_better_than_the_one_found(seed):
    rng = np.random.default_rng(seed)
    holes = SQUARE[0] if seed % 2 else rng.uniform(-150.0, 150.0, (5, 2))
    rods = moved(holes[None], rng.uniform(-0.4, 0.4), rng.normal(0.0, 3.0, 2))[0]
    rods = rods + rng.normal(0.0, 2.0, rods.shape)
    clearance = rng.choice([0.0, 2.4, 7.0], len(holes))
    found = fit_plate_within(holes, rods, clearance, 3.175)
    assert (np.abs(found.shift_mm) <= 3.175).all()
    assert rotation_chord_mm(holes, found.rotation_rad) <= 3.175 + 1e-9
    # what it says of itself holds: the gap is where the rod is seen from its hole
    seen = moved(holes[None], found.rotation_rad, found.shift_mm)[0]
    apart = np.hypot(*(rods - seen).T)
    np.testing.assert_allclose(np.hypot(*found.gap_mm.T), apart, atol=1e-9)
    assert found.interference_mm == pytest.approx((apart - clearance).max(), abs=1e-9)
    assert found.interference_mm <= _grid_overrun(holes, rods, clearance, 3.175) + 1e-5


def test_one_hole_is_shifted_as_far_as_it_may_be():
    hole, rod = np.array([[0.0, 80.0]]), np.array([[10.0, 81.0]])
    found = fit_plate_within(hole, rod, np.array([2.0]), 3.0)
    assert found.interference_mm == pytest.approx(
        5.0, abs=1e-6
    )  # (3, 1) to (10, 1), less 2
    np.testing.assert_allclose(found.shift_mm, [3.0, 1.0], atol=1e-3)
