import numpy as np
import pytest

from checks.engine.distance_network import AdjustmentOutcome, adjust_distances

SQUARE = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 1000.0], [0.0, 1000.0]])
ALL = np.stack(np.triu_indices(4, 1), axis=1)
TRUE = np.linalg.norm(SQUARE[ALL[:, 1]] - SQUARE[ALL[:, 0]], axis=1)


def test_one_held_point_stays_and_the_rotation_is_kept():
    held = np.array([True, False, False, False])
    found = adjust_distances(SQUARE[None], ALL, TRUE[None] * 1.001, 1.0, held)
    np.testing.assert_allclose(found.points_mm[0], SQUARE * 1.001, atol=1e-8)
    assert found.degrees_of_freedom[0] == 1


def test_a_free_net_keeps_its_centroid():
    found = adjust_distances(SQUARE[None], ALL, TRUE[None] + [[5, 0, -3, 2, 1, 0]], 1.0)
    np.testing.assert_allclose(
        found.points_mm[0].mean(axis=0), [500.0, 500.0], atol=1e-9
    )


def test_everything_held_leaves_only_the_misfits():
    found = adjust_distances(SQUARE[None], ALL, TRUE[None] + 1.0, 2.0, [True] * 4)
    np.testing.assert_allclose(found.residuals_mm, -1.0)
    np.testing.assert_allclose(found.w, -0.5)
    assert found.degrees_of_freedom[0] == 6


def test_networks_of_one_call_do_not_affect_each_other():
    rng = np.random.default_rng(41)
    read = TRUE + rng.normal(size=(5, 6))
    read[1, 2] = np.nan  # still determined
    read[2, :3] = np.nan  # not
    read[3] = [3_000.0, 10.0, 10.0, 10.0, 10.0, 3_000.0]  # no such figure
    together = adjust_distances(np.broadcast_to(SQUARE, (5, 4, 2)), ALL, read, 1.0)
    assert together.outcome[[0, 1, 2, 4]].tolist() == [
        AdjustmentOutcome.ADJUSTED,
        AdjustmentOutcome.ADJUSTED,
        AdjustmentOutcome.UNDETERMINED,
        AdjustmentOutcome.ADJUSTED,
    ]
    for k in range(5):
        alone = adjust_distances(SQUARE[None], ALL, read[k : k + 1], 1.0)
        assert alone.outcome[0] == together.outcome[k]
        np.testing.assert_allclose(
            alone.points_mm[0], together.points_mm[k], atol=1e-8, equal_nan=True
        )


def test_a_distance_not_measured_is_as_if_it_were_not_listed():
    read = TRUE + np.array([1.0, 2.0, -1.0, 0.5, 0.0, 1.0])
    with_hole = read.copy()
    with_hole[2] = np.nan
    a = adjust_distances(SQUARE[None], ALL, with_hole[None], 1.0)
    b = adjust_distances(
        SQUARE[None], np.delete(ALL, 2, 0), np.delete(read, 2)[None], 1.0
    )
    np.testing.assert_allclose(a.points_mm, b.points_mm, atol=1e-9)
    assert np.isnan(a.residuals_mm[0, 2])
    assert np.isnan(a.w[0, 2])


def test_a_reading_no_other_checks_has_no_w():
    found = adjust_distances(SQUARE[None], ALL[:5], TRUE[None, :5] + 1.0, 1.0)
    np.testing.assert_allclose(found.redundancy, 0.0, atol=1e-9)
    assert np.isnan(found.w).all()
    assert np.isnan(found.reference_variance).all()
    assert not found.suspect.any()


def test_points_far_from_the_origin_lose_no_digits():
    near = adjust_distances(SQUARE[None], ALL, TRUE[None] + 0.7, 1.0)
    far = adjust_distances(SQUARE[None] + 1e9, ALL, TRUE[None] + 0.7, 1.0)
    np.testing.assert_allclose(near.residuals_mm, far.residuals_mm, atol=1e-9)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="two different points"):
        adjust_distances(SQUARE[None], [[0, 0]], [[1.0]], 1.0)
    with pytest.raises(ValueError, match="two different points"):
        adjust_distances(SQUARE[None], [[0, 4]], [[1.0]], 1.0)
    with pytest.raises(ValueError, match="greater than zero"):
        adjust_distances(SQUARE[None], ALL, TRUE[None], 0.0)
    with pytest.raises(ValueError, match="lengths"):
        adjust_distances(SQUARE[None], ALL, TRUE, 1.0)
    with pytest.raises(ValueError, match="points"):
        adjust_distances(SQUARE, ALL, TRUE[None], 1.0)
