"""Common errors of tapes and days against generalised least squares.

The reference is written down with the full covariance matrix of the readings, Sigma =
diag(r**2) + C C', and the best linear unbiased predictor of random effects: C. R.
Henderson, "Best linear unbiased estimation and prediction under a selection model",
Biometrics 31 (1975), 423-447 (from memory).
"""

import numpy as np
import pytest

from checks.engine.common_error_estimate import estimate_common_errors


@pytest.mark.parametrize("seed", range(4))
def test_it_is_the_best_linear_unbiased_prediction(seed: int) -> None:
    rng = np.random.default_rng(seed)
    index = np.array([0, 0, 1, 2, 2, 2, 3, 1, 4])
    loadings = rng.normal(0.0, 2.0, (index.size, 3))
    own = rng.uniform(0.4, 1.5, index.size)
    readings = 20_000.0 + rng.normal(0.0, 4.0, index.size)
    found = estimate_common_errors(index, readings, loadings, own)
    sigma = np.diag(own**2) + loadings @ loadings.T
    inverse = np.linalg.inv(sigma)
    lengths = np.eye(5)[index]
    normal = np.linalg.inv(lengths.T @ inverse @ lengths)
    fitted = normal @ lengths.T @ inverse @ readings
    want = loadings.T @ inverse @ (readings - lengths @ fitted)
    np.testing.assert_allclose(found.mean, want, atol=1e-7)
    projector = inverse - inverse @ lengths @ normal @ lengths.T @ inverse
    covariance = np.eye(3) - loadings.T @ projector @ loadings
    np.testing.assert_allclose(found.root @ found.root.T, covariance, atol=1e-9)


def test_readings_of_different_lengths_tell_nothing() -> None:
    found = estimate_common_errors(
        np.arange(3), np.array([1.0, 2.0, 3.0]), np.ones((3, 2)), np.ones(3)
    )
    np.testing.assert_array_equal(found.mean, np.zeros(2))
    np.testing.assert_array_equal(found.root, np.eye(2))


def test_two_tapes_on_one_length_share_their_difference() -> None:
    # 4 mm apart, classes of 2 mm each and hardly anything else: 2 mm each, so one
    # unit each; only the sum of the two errors stays unknown.
    found = estimate_common_errors(
        np.zeros(2, int), np.array([4.0, 0.0]), np.diag([2.0, 2.0]), np.full(2, 1e-3)
    )
    np.testing.assert_allclose(found.mean, [1.0, -1.0], atol=1e-5)
    np.testing.assert_allclose(
        found.root @ found.root.T, [[0.5, 0.5], [0.5, 0.5]], atol=1e-5
    )


def test_a_reading_without_an_error_of_its_own_is_refused() -> None:
    with pytest.raises(ValueError, match="uncertainty"):
        estimate_common_errors(
            np.zeros(1, int), np.ones(1), np.ones((1, 1)), np.zeros(1)
        )
