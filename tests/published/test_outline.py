"""The outline against plane geometry and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from checks.engine.outline import adjust_outline

PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])


def rectangle(a, b):
    return np.array([[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]])


def apart(points, pairs):
    return np.linalg.norm(points[pairs[:, 1]] - points[pairs[:, 0]], axis=1)


@given(
    a=st.floats(3_000, 150_000),
    b=st.floats(3_000, 150_000),
    lean=st.floats(-0.02, 0.02),
)
def test_parallelogram_law(a, b, lean):
    # Classical plane geometry: p² + q² = 2 (a² + b²), and with the corner angle
    # 90° - lean, p² - q² = 4 a b sin(lean) (law of cosines for both diagonals).
    p = np.sqrt(a**2 + b**2 + 2 * a * b * np.sin(lean))
    q = np.sqrt(a**2 + b**2 - 2 * a * b * np.sin(lean))
    assert p**2 + q**2 == pytest.approx(2 * (a**2 + b**2), rel=1e-14)
    found = adjust_outline(rectangle(a, b), PAIRS, [a, b, a, b, p, q], 2.0)
    assert found.determined
    # 1e-9 mm on each corner is all the readings leave; 1e-12 rad on 3 m
    np.testing.assert_allclose(found.residuals_mm, 0.0, atol=1e-8)
    assert found.skew_rad == pytest.approx(lean, abs=1e-11)
    assert found.skew_rad == pytest.approx(
        np.arcsin((p**2 - q**2) / (4 * a * b)), abs=1e-9
    )


def test_three_four_five():
    # The builders' right triangle (Euclid I.47).
    found = adjust_outline(
        [[0, 0], [4_000, 0], [0, 3_000]],
        [[0, 1], [1, 2], [2, 0]],
        [4_000, 5_000, 3_000],
        1.0,
    )
    np.testing.assert_allclose(found.offsets_mm, 0.0, atol=1e-9)
    assert abs(found.skew_rad) < 1e-12
    assert found.degrees_of_freedom == 0


def test_four_sides_and_two_diagonals_have_one_degree_of_freedom():
    # 6 readings, 2·4 - 3 = 5 shape parameters; then all |w| are equal and data
    # snooping is inconclusive (Guo 2015 on a single degree of freedom).
    plan = rectangle(24_384, 15_240)
    read = apart(plan, PAIRS) + np.array([1.0, -2.0, 0.5, 1.5, -1.0, 2.5])
    found = adjust_outline(plan, PAIRS, read, [1.0, 1.2, 1.0, 1.2, 1.5, 1.5])
    assert found.degrees_of_freedom == 1
    np.testing.assert_allclose(np.abs(found.w), np.abs(found.w[0]), rtol=1e-8)
    assert found.w[0] ** 2 == pytest.approx(found.reference_variance, rel=1e-8)


def test_outlines_are_those_of_scipy_to_a_millionth_of_a_millimetre():
    rng = np.random.default_rng(37)
    shapes = [
        rectangle(24_384, 15_240),
        np.array([[0, 0], [30, 0], [30, 12], [18, 12], [18, 24], [0, 24]]) * 1e3,
        np.array([[0, 0], [9, 0], [4, 7]]) * 1e3,
        rectangle(900_000, 400_000),
    ]
    for plan in shapes:
        plan = np.asarray(plan, dtype=float)
        n = len(plan)
        pairs = np.stack(np.triu_indices(n, 1), axis=1)
        sigma = rng.uniform(1.0, 4.0, len(pairs))
        read = apart(plan, pairs) + rng.normal(size=len(pairs)) * sigma
        found = adjust_outline(plan, pairs, read, sigma)
        loose = np.ones(2 * n, dtype=bool)
        loose[[0, 1, 3]] = False

        def misfit(x, plan=plan, pairs=pairs, read=read, sigma=sigma, loose=loose):
            flat = plan.ravel().copy()
            flat[loose] = x
            return (apart(flat.reshape(-1, 2), pairs) - read) / sigma

        other = least_squares(
            misfit,
            plan.ravel()[loose],
            jac="3-point",
            xtol=1e-15,
            ftol=1e-15,
            gtol=1e-15,
            x_scale=1e-3,
        )
        flat = plan.ravel().copy()
        flat[loose] = other.x
        # 1e-6 mm = 1e-9 m, as far as scipy's search itself goes
        np.testing.assert_allclose(
            found.residuals_mm, apart(flat.reshape(-1, 2), pairs) - read, atol=1e-6
        )
