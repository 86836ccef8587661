import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.rigid_fit import RigidFitOutcome, fit_rigid

SQUARE = np.array([[[-50.0, 228.6], [50.0, 228.6], [-50.0, 355.6], [50.0, 355.6]]])


def moved(points, turn, shift):
    middle = points.mean(axis=1, keepdims=True)
    c, s = np.cos(turn), np.sin(turn)
    rotated = (points - middle) @ np.array([[c, s], [-s, c]])
    return middle + np.asarray(shift) + rotated


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


def test_one_rod_gives_a_shift_without_rotation():
    found = fit_rigid([[[10.0, 20.0]]], [[[13.0, 16.0]]])
    assert found.rotation_rad[0] == 0.0
    assert found.shift_mm[0].tolist() == [3.0, -4.0]
    assert found.outcome[0] == RigidFitOutcome.SHIFT_ONLY


def test_two_rods_give_a_rotation():
    found = fit_rigid([[[0.0, 0.0], [100.0, 0.0]]], [[[0.0, 0.0], [0.0, 100.0]]])
    assert found.rotation_rad[0] == pytest.approx(np.pi / 2)
    np.testing.assert_allclose(found.shift_mm[0], [-50.0, 50.0], atol=1e-12)


def test_coincident_points_have_no_rotation():
    plan = np.array([[[5.0, 5.0], [5.0, 5.0]]])
    found = fit_rigid(plan, [[[6.0, 5.0], [8.0, 5.0]]])
    assert found.rotation_rad[0] == 0.0
    assert found.outcome[0] == RigidFitOutcome.SHIFT_ONLY
    other = fit_rigid([[[6.0, 5.0], [8.0, 5.0]]], plan)
    assert other.outcome[0] == RigidFitOutcome.SHIFT_ONLY
    np.testing.assert_allclose(other.shift_mm[0], [-2.0, 0.0])


def test_points_that_determine_no_rotation_get_none():
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


def test_a_padded_slot_is_no_rod_of_the_group_whatever_stands_in_it():
    # padding by the repeated first rod; 1.505 and -0.495 were the wrong shift
    plan = np.concatenate([SQUARE, np.repeat(SQUARE[:, :1], 4, axis=1)], axis=1)
    built = np.concatenate([moved(SQUARE, 0.02, (1.0, 0.0)), plan[:, 4:]], axis=1)
    real = np.arange(8)[None, :] < 4
    found = fit_rigid(plan, built, real=real)
    np.testing.assert_allclose(found.shift_mm[0], [1.0, 0.0], atol=1e-9)
    assert found.rotation_rad[0] == pytest.approx(0.02)
    assert np.isnan(found.residuals_mm[0, 4:]).all()
    weighted = fit_rigid(plan, built, np.ones((1, 8)), real)
    np.testing.assert_allclose(weighted.shift_mm[0], [1.0, 0.0], atol=1e-9)


def test_a_rod_of_no_weight_counts_in_the_planned_centroid():
    built = moved(SQUARE, 0.02, (1.0, -2.0))
    found = fit_rigid(SQUARE, built, [[1.0, 1.0, 1.0, 0.0]])
    np.testing.assert_allclose(found.shift_mm[0], [1.0, -2.0], atol=1e-9)


def test_a_rod_of_no_weight_takes_no_part_but_shows_its_residual():
    built = moved(SQUARE, 0.0, (1.0, 0.0))
    built[0, 3] += [30.0, 0.0]
    found = fit_rigid(SQUARE, built, [[1.0, 1.0, 1.0, 0.0]])
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
    with pytest.raises(ValueError, match="mask"):
        fit_rigid(SQUARE, SQUARE, [[True, True, True, False]])


def test_inputs_are_untouched():
    plan, built = SQUARE.copy(), SQUARE + 1.0
    plan.flags.writeable = built.flags.writeable = False
    fit_rigid(plan, built)
