"""Trilateration nets with published answers, and the outlier test's constants.

The examples stand together in F. Krumm, *Geodetic Network Adjustment Examples*,
University of Stuttgart, rev. 3.5 (2020). [C]: computed again from the inputs, and
here once more by scipy; [M hi]: inputs remembered with high confidence.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import least_squares

from checks.engine.distance_network import adjust_distances
from checks.engine.outlier_tests import CRITICAL_W


def by_scipy(start, pairs, lengths, sigma, held):
    loose = np.repeat(~held, 2)

    def misfit(x):
        flat = start.ravel().copy()
        flat[loose] = x
        points = flat.reshape(-1, 2)
        apart = points[pairs[:, 1]] - points[pairs[:, 0]]
        return (np.hypot(apart[:, 0], apart[:, 1]) - lengths) / sigma

    return least_squares(
        misfit, start.ravel()[loose], jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15
    )


def test_strang_and_borre_example_10_1():
    # Strang and Borre, Linear Algebra, Geodesy, and GPS, Ex. 10.1: P (170.7029,
    # 170.7234) m, standard deviations 33.03 and 23.35 mm from the estimated sigma0.
    start = np.array([[170.71, 270.71], [100, 100], [241.42, 100], [170, 170]]) * 1e3
    held = np.array([True, True, True, False])
    found = adjust_distances(
        start[None], [[0, 3], [1, 3], [2, 3]], [[100_010, 100_020, 100_030]], 10.0, held
    )
    np.testing.assert_allclose(
        found.points_mm[0, 3] / 1e3, [170.7029, 170.7234], atol=5e-5
    )
    np.testing.assert_allclose(
        found.points_mm[0, 3] / 1e3, [170.70293, 170.72336], atol=5e-6
    )  # [C]
    sd = np.sqrt(np.diag(found.covariance_mm2[0])[6:] * found.reference_variance[0])
    np.testing.assert_allclose(sd, [33.03, 23.35], atol=0.005)
    assert found.degrees_of_freedom[0] == 1


def test_benning_example_8_2_a_square_with_one_missing_side():
    # Benning, Statistik in Geodäsie, Geoinformation und Bauwesen (2011), Ex. 8-2:
    # 3 (-.0096, -.0226), 4 (999.9930, .0174) m; sd 9.01, 6.37 mm (from sigma0).
    start = np.array([[0, 1000], [1000, 1000], [0, 0], [1000, 0]]) * 1e3
    pairs = np.array([[0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])
    lengths = np.array([1000.02, 1414.20, 1414.24, 999.98, 1000.00]) * 1e3
    held = np.array([True, True, False, False])
    found = adjust_distances(start[None], pairs, lengths[None], 10.0, held)
    np.testing.assert_allclose(
        found.points_mm[0, 2:] / 1e3,
        [[-0.0096, -0.0226], [999.9930, 0.0174]],
        atol=5e-5,
    )
    # [C] v = 2.601, -3.679, -3.679, 2.601, 2.601 mm
    np.testing.assert_allclose(
        found.residuals_mm[0], [2.601, -3.679, -3.679, 2.601, 2.601], atol=5e-4
    )
    sd = np.sqrt(np.diag(found.covariance_mm2[0])[4:] * found.reference_variance[0])
    np.testing.assert_allclose(sd, [9.01, 6.37, 9.01, 6.37], atol=0.005)
    # one degree of freedom: every |w| the same
    np.testing.assert_allclose(np.abs(found.w[0]), np.abs(found.w[0, 0]))


def test_benning_example_8_8():
    # Benning (2011), Ex. 8-8: 6 (2000.0000, 1999.9976) m; sd 5.04, 9.96 mm.
    start = (
        np.array(
            [
                [3000, 2000],
                [1000, 2000],
                [3000, 2100],
                [1000, 2100],
                [2000, 1000],
                [2000, 2000],
            ]
        )
        * 1e3
    )
    pairs = np.array([[5, 0], [5, 1], [5, 2], [5, 3], [5, 4]])
    lengths = np.array([1000.0, 1000.0, 1005.0, 1005.0, 1000.0]) * 1e3
    held = np.array([True] * 5 + [False])
    found = adjust_distances(start[None], pairs, lengths[None], 20.0, held)
    np.testing.assert_allclose(
        found.points_mm[0, 5] / 1e3, [2000.0, 1999.9976], atol=5e-5
    )
    sd = np.sqrt(np.diag(found.covariance_mm2[0])[10:] * found.reference_variance[0])
    np.testing.assert_allclose(sd, [5.04, 9.96], atol=0.005)


def test_ghilani_example_14_1():
    # Ghilani, Adjustment Computations, Ex. 14.1 [M hi], ft: 6861.317, 3727.819 [C].
    start = np.array(
        [[865.40, 4527.15], [2432.55, 2047.25], [2865.22, 27.15], [6861, 3728]]
    )
    held = np.array([True, True, True, False])
    found = adjust_distances(
        start[None], [[0, 3], [1, 3], [2, 3]], [[6049.00, 4736.83, 5446.49]], 0.01, held
    )
    np.testing.assert_allclose(found.points_mm[0, 3], [6861.317, 3727.819], atol=5e-4)


def test_the_critical_value_is_that_of_the_normal_distribution():
    # Baarda (1968): alpha 0.001 two-sided, 3.2905, used as 3.29.
    assert pytest.approx(stats.norm.isf(0.0005), abs=5e-3) == CRITICAL_W


@pytest.mark.parametrize("redundancy", [0.2, 0.5, 0.8])
def test_a_blunder_of_the_minimal_detectable_size_is_found_at_eighty_percent(
    redundancy,
):
    # Baarda: delta0 = 4.132 for alpha 0.001 and power 0.80; a blunder of
    # sigma delta0 / sqrt(r) (5.84 sigma at r = 0.5 [C]) has w ~ N(delta0, 1).
    delta0 = 4.132
    assert stats.norm.sf(CRITICAL_W - delta0) == pytest.approx(0.80, abs=1e-3)
    blunder = delta0 / np.sqrt(redundancy)
    assert blunder * np.sqrt(redundancy) == pytest.approx(np.sqrt(17.075), abs=1e-3)


def test_a_blunder_shifts_w_by_the_root_of_its_redundancy():
    # w_i = v_i / (s sqrt(r_i)) and dv_i = -r_i * b: so dw_i = -sqrt(r_i) * b / s
    rng = np.random.default_rng(23)
    start = rng.uniform(0, 30_000, (7, 2))
    pairs = np.stack(np.triu_indices(7, 1), axis=1)
    true = np.linalg.norm(start[pairs[:, 1]] - start[pairs[:, 0]], axis=1)
    for i in range(0, len(pairs), 5):
        read = true.copy()
        read[i] += 2.0
        found = adjust_distances(start[None], pairs, read[None], 1.0)
        assert found.w[0, i] == pytest.approx(
            -2.0 * np.sqrt(found.redundancy[0, i]), rel=1e-3
        )


def test_random_nets_are_those_of_scipy():
    rng = np.random.default_rng(29)
    for _ in range(10):
        n = rng.integers(4, 9)
        start = rng.uniform(-40_000, 40_000, (n, 2))
        pairs = np.stack(np.triu_indices(n, 1), axis=1)
        held = np.zeros(n, dtype=bool)
        held[:2] = True
        pairs = pairs[1:]
        sigma = rng.uniform(0.5, 8.0, len(pairs))
        true = np.linalg.norm(start[pairs[:, 1]] - start[pairs[:, 0]], axis=1)
        read = true + rng.normal(size=len(pairs)) * sigma
        found = adjust_distances(start[None], pairs, read[None], sigma[None], held)
        other = by_scipy(start, pairs, read, sigma, held)
        # 1e-3 mm: how close a search on the sum of squares gets
        np.testing.assert_allclose(found.points_mm[0, 2:].ravel(), other.x, atol=1e-3)
        gain = np.sum((found.residuals_mm[0] / sigma) ** 2)
        assert gain <= 2 * other.cost * (1 + 1e-9)  # the sum itself is rounded so
        # cofactors against the inverse of scipy's own normal matrix
        np.testing.assert_allclose(
            found.covariance_mm2[0][4:, 4:],
            np.linalg.inv(other.jac.T @ other.jac),
            rtol=1e-3,
            atol=1e-6,
        )


def test_statistics_are_those_of_statsmodels():
    from statsmodels.api import OLS

    from checks.engine.distance_network import distance_jacobian

    rng = np.random.default_rng(31)
    start = rng.uniform(-40_000, 40_000, (6, 2))
    pairs = np.stack(np.triu_indices(6, 1), axis=1)[1:]
    held = np.array([True, True, False, False, False, False])
    sigma = rng.uniform(0.5, 8.0, len(pairs))
    true = np.linalg.norm(start[pairs[:, 1]] - start[pairs[:, 0]], axis=1)
    read = true + rng.normal(size=len(pairs)) * sigma
    found = adjust_distances(start[None], pairs, read[None], sigma[None], held)
    matrix = distance_jacobian(pairs, found.points_mm[0])[:, 4:]
    # the linear problem at the solution: what is left over there is the same
    model = OLS(-found.residuals_mm[0] / sigma, matrix / sigma[:, None]).fit()
    np.testing.assert_allclose(model.params, 0.0, atol=1e-8)
    assert model.scale == pytest.approx(found.reference_variance[0], rel=1e-9)
    influence = model.get_influence()
    np.testing.assert_allclose(
        found.redundancy[0], 1 - influence.hat_matrix_diag, atol=1e-9
    )
    internal = influence.resid_studentized_internal * np.sqrt(model.scale)
    np.testing.assert_allclose(-found.w[0], internal, atol=1e-7)
