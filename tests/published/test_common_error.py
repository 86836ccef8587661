"""One tape's common error: plane geometry, a worked example and statsmodels.

Model, closure and worked example: a rectangle of four walls and two diagonals has one
check, the sum of the diagonals against the walls, in which a tape's scale drops out.
The figures of the example were computed from the generalised least squares solution
x = (A' S^-1 A)^-1 A' S^-1 y with the full covariance S.
"""

import numpy as np
import pytest
from scipy import stats
from statsmodels.api import GLS

from checks.engine.distance_network import distance_jacobian, rigid_motions
from checks.engine.outlier_tests import CRITICAL_W, studentised_limit
from checks.engine.outline import OutlineAdjustment, adjust_outline, adjust_outlines

PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
WIDTH, DEPTH = 24_384.0, 15_240.0  # 80 x 50 ft
PLAN = np.array([[0.0, 0.0], [WIDTH, 0.0], [WIDTH, DEPTH], [0.0, DEPTH]])
TRUE = np.linalg.norm(PLAN[PAIRS[:, 1]] - PLAN[PAIRS[:, 0]], axis=1)
# class II: 0.2 mm/m and 0.3 mm; a temperature within 10 degC; all rectangular
SCALE = np.hypot(0.2e-3, 11.6e-6 * 10) / np.sqrt(3)
ZERO = 0.3 / np.sqrt(3)
SPLIT = np.stack([SCALE * TRUE, np.full(6, ZERO)], axis=1)
HALF_INCH = 12.7


def misread(index: int, by: float, own: float) -> OutlineAdjustment:
    read = TRUE.copy()
    read[index] += by
    return adjust_outline(PLAN, PAIRS, read, own, common_mm=SPLIT)


def test_scale_and_zero_of_class_two_without_a_temperature():
    assert pytest.approx(1.3349e-4, abs=5e-9) == SCALE
    assert pytest.approx(0.1732, abs=5e-5) == ZERO


def closure() -> np.ndarray:
    """The one combination of the six lengths that is checked, by hand."""
    g = np.hypot(WIDTH, DEPTH)
    return np.array([-WIDTH, -DEPTH, -WIDTH, -DEPTH, g, g]) / g


def test_the_closure_of_a_rectangle_has_no_scale():
    m = closure()
    assert m @ m == pytest.approx(4.0, rel=1e-14)
    assert m @ TRUE == pytest.approx(0.0, abs=1e-10)
    assert m.sum() == pytest.approx(-0.7560, abs=5e-5)


@pytest.mark.parametrize("index", range(6))
@pytest.mark.parametrize("own", [0.458, 1.0, 1.5, 2.0])
def test_every_w_is_the_closure_over_its_standard_deviation(index, own):
    # w = t / sqrt(4 e^2 + u_z^2 (m.1)^2), the same for all six
    found = misread(index, 0.5, own)
    m = closure()
    want = 0.5 * m[index] / np.sqrt(4 * own**2 + ZERO**2 * m.sum() ** 2)
    np.testing.assert_allclose(np.abs(found.w), abs(want), rtol=1e-4)


@pytest.mark.parametrize(
    ("own", "w"), [(0.4583, 13.72), (1.0, 6.34), (1.5, 4.23), (2.0, 3.17)]
)
def test_half_an_inch_on_a_diagonal_against_the_noise_assumed(own, w):
    found = misread(4, HALF_INCH, own)
    np.testing.assert_allclose(np.abs(found.w), w, atol=0.006)
    assert found.cannot_tell == (w > CRITICAL_W)


def test_worked_example():
    found = misread(4, HALF_INCH, 1.0)
    np.testing.assert_allclose(np.abs(found.w), 6.3371, atol=5e-5)
    np.testing.assert_allclose(
        found.residuals_mm,
        [2.681, 1.676, 2.681, 1.676, -3.163, -3.161],
        atol=1e-3,
    )
    assert found.reference_variance == pytest.approx(40.159, abs=5e-4)
    np.testing.assert_allclose(
        found.corners_mm - PLAN,
        [[-4.068, -2.556], [-1.316, 0.809], [4.068, 2.556], [1.316, -0.809]],
        atol=1e-3,
    )
    np.testing.assert_allclose(
        found.redundancy, [0.179, 0.070, 0.179, 0.070, 0.249, 0.249], atol=1e-3
    )
    # the two common errors, each as a multiple of its own standard deviation
    np.testing.assert_allclose(found.common * [1.0, ZERO], [0.0, -0.0717], atol=1e-4)
    np.testing.assert_allclose(found.common_redundancy, [0.0, 0.0035], atol=1e-3)
    total = found.redundancy.sum() + found.common_redundancy.sum()
    assert total == pytest.approx(found.degrees_of_freedom, abs=1e-9)
    assert found.skew_rad == pytest.approx(0.491e-3, abs=5e-7)
    assert np.isnan(found.common_w).all()  # a tape's scale is checked by nothing


def test_without_the_common_error_the_same_example_passes_unnoticed():
    # the same readings, all errors taken as independent: |w| 1.7406 for all six
    sigma = np.array([3.499, 2.310, 3.499, 2.310, 4.040, 4.040])
    read = TRUE.copy()
    read[4] += HALF_INCH
    found = adjust_outline(PLAN, PAIRS, read, sigma)
    np.testing.assert_allclose(np.abs(found.w), 1.7406, atol=1e-3)
    assert not found.cannot_tell


@pytest.mark.parametrize("index", range(6))
def test_a_tape_of_another_scale_leaves_no_residual(index):
    found = adjust_outline(PLAN, PAIRS, TRUE * (1 + 5 * SCALE), 1.0, common_mm=SPLIT)
    assert abs(found.residuals_mm[index]) < 1e-6
    assert not found.cannot_tell


def random_outline(rng, corners, errors):
    turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    radius = rng.uniform(8_000.0, 30_000.0, corners)
    plan = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    pairs = np.stack(np.triu_indices(corners, 1), axis=1)
    true = np.linalg.norm(plan[pairs[:, 1]] - plan[pairs[:, 0]], axis=1)
    own = rng.uniform(0.5, 2.0, len(pairs))
    common = rng.normal(size=(len(pairs), errors)) * true[:, None] * 1e-4
    read = true + own * rng.normal(size=len(pairs)) + common @ rng.normal(size=errors)
    return plan, pairs, read, own, common


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("errors", [1, 3])
def test_corners_and_statistics_are_those_of_generalised_least_squares(seed, errors):
    rng = np.random.default_rng((seed, errors))
    plan, pairs, read, own, common = random_outline(rng, 5 + seed % 2, errors)
    found = adjust_outline(plan, pairs, read, own, common_mm=common)
    # The linear problem at the solution, in coordinates without the rigid motions:
    # what is still to be gained there is nothing, and the statistics are the same.
    points = found.corners_mm
    basis = np.linalg.svd(rigid_motions(points))[2][3:].T
    matrix = distance_jacobian(pairs, points) @ basis
    distance = np.linalg.norm(points[pairs[:, 1]] - points[pairs[:, 0]], axis=1)
    covariance = np.diag(own**2) + common @ common.T
    model = GLS(read - distance, matrix, sigma=covariance).fit()
    np.testing.assert_allclose(model.params, 0.0, atol=1e-6)
    inverse = np.linalg.inv(covariance)
    short = read - distance
    assert short @ inverse @ short == pytest.approx(
        found.reference_variance * found.degrees_of_freedom, rel=1e-9
    )
    assert model.scale == pytest.approx(found.reference_variance, rel=1e-9)
    # w_i = (S^-1 v)_i / sqrt((S^-1 Qv S^-1)_ii), Qv = S - A (A' S^-1 A)^-1 A'
    cofactor = covariance - matrix @ model.normalized_cov_params @ matrix.T
    w = inverse @ -short / np.sqrt(np.diag(inverse @ cofactor @ inverse))
    np.testing.assert_allclose(found.w, w, rtol=1e-6, atol=1e-8)
    # their own part of the residuals, S_own S^-1 v
    np.testing.assert_allclose(
        found.residuals_mm, own**2 * (inverse @ -short), atol=1e-6
    )
    spread = basis @ model.normalized_cov_params @ basis.T
    still = np.eye(plan.size) - rigid_motions(plan).T @ rigid_motions(plan)
    np.testing.assert_allclose(
        found.sigma_mm.ravel() ** 2,
        np.diag(still @ spread @ still),
        rtol=1e-3,  # about the plan here, about the points as built there
    )


def test_a_batch_is_its_outlines_one_by_one():
    rng = np.random.default_rng(5)
    plan, pairs, read, own, common = random_outline(rng, 5, 2)
    reads = read + rng.normal(size=(7, len(read)))
    reads[2, 4] = np.nan
    loads = common * rng.uniform(0.5, 2.0, (7, 1, 1))
    many = adjust_outlines(
        np.broadcast_to(plan, (7, 5, 2)), pairs, reads, own, common_mm=loads
    )
    for k in range(7):
        one = adjust_outline(plan, pairs, reads[k], own, common_mm=loads[k])
        for member in ("corners_mm", "residuals_mm", "w", "common", "redundancy"):
            np.testing.assert_allclose(
                getattr(one, member), getattr(many, member)[k], atol=1e-7
            )


def test_two_tapes_that_differ_beyond_their_classes_are_named():
    # every wall and diagonal of an L shape, half with a tape that is 6 sigma long
    plan = np.array([[0, 0], [30, 0], [30, 12], [18, 12], [18, 24], [0, 24]]) * 1e3
    pairs = np.stack(np.triu_indices(6, 1), axis=1)
    true = np.linalg.norm(plan[pairs[:, 1]] - plan[pairs[:, 0]], axis=1)
    second = np.arange(len(pairs)) % 2 == 1
    size = SCALE * true
    common = np.stack([np.where(second, 0.0, size), np.where(second, size, 0.0)], 1)
    read = true + np.where(second, 6.0 * size, 0.0)
    found = adjust_outline(plan, pairs, read, 1.0, common_mm=common)
    assert found.common_suspect.any()
    assert not found.suspect.any()
    # what both have too much is the size of the building, which nothing checks
    assert found.common[1] - found.common[0] == pytest.approx(6.0, abs=1.0)
    honest = adjust_outline(plan, pairs, true, 1.0, common_mm=common)
    assert not honest.common_suspect.any()


def test_the_studentised_limit_is_students():
    # two-sided 1 % over all readings, the assumed noise counted as 8 more degrees
    for freedom, tests in ((2, 7), (6, 15), (40, 60)):
        want = stats.t.isf(0.01 / (2 * tests), 8 + freedom - 1)
        assert studentised_limit(freedom, tests) == pytest.approx(want, rel=1e-9)
    assert studentised_limit(1, 6) == np.inf


def test_with_more_readings_the_noise_seen_counts_beside_the_noise_assumed():
    # Cook and Weisberg's externally studentised residual, nu0 = 8 assumed degrees
    rng = np.random.default_rng(9)
    plan, pairs, read, own, common = random_outline(rng, 6, 2)
    for size in (0.5, 1.0, 3.0):
        noisy = read + size * 4.0 * own * rng.normal(size=len(read))
        noisy[3] += 30.0
        found = adjust_outline(plan, pairs, noisy, own, common_mm=common)
        freedom = found.degrees_of_freedom
        omega = found.reference_variance * freedom
        scale = np.sqrt((8 + omega - found.w**2) / (8 + freedom - 1))
        limit = stats.t.isf(0.01 / (2 * len(pairs)), 8 + freedom - 1)
        want = np.abs(found.w) / scale > limit
        np.testing.assert_array_equal(found.suspect, want)
