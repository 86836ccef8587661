"""The chance of a wrong conclusion after a reading, computed in other ways.

Owen's function by SciPy's bivariate normal distribution and by quadrature, and the
formula by simulation. Closed forms: D. B. Owen, "Tables for computing bivariate normal
probabilities", Annals of Mathematical Statistics 27 (1956), 1075-1090.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from checks.engine.next_reading import wrong_probability, wrong_probability_after

CASES = [
    # margin, u, d: tight and wide, hardly anything removed and nearly everything
    (0.0, 1.0, 0.6),
    (0.4, 1.0, 0.1),
    (1.2, 2.0, 1.4),
    (-2.4, 3.8, 2.8),
    (3.1, 1.5, 1.45),
    (5.0, 2.0, 1.0),
]


@pytest.mark.parametrize(("margin", "u", "d"), CASES)
def test_it_is_the_bivariate_normal_probability_of_different_signs(
    margin: float, u: float, d: float
) -> None:
    # the true margin and the margin after the reading, both about the margin now
    same_below = multivariate_normal.cdf(
        [0.0, 0.0],
        mean=[margin, margin],
        cov=[[u**2, d**2], [d**2, d**2]],
        abseps=1e-10,
        releps=1e-10,
    )
    true_below = norm.cdf(-margin / u)
    said_below = norm.cdf(-margin / d)
    want = (true_below - same_below) + (said_below - same_below)
    assert wrong_probability_after(margin, u, d) == pytest.approx(want, abs=1e-7)


@pytest.mark.parametrize(("margin", "u", "d"), CASES)
def test_it_is_the_mean_chance_over_what_the_reading_may_be(
    margin: float, u: float, d: float
) -> None:
    left = np.sqrt(u**2 - d**2)
    points = [-abs(margin) / d] if abs(margin) < 8 * d else None
    want, _ = quad(
        lambda z: norm.pdf(z) * norm.cdf(-abs(abs(margin) + d * z) / left),
        -10.0,
        10.0,
        points=points,
        epsabs=1e-12,
        limit=400,
    )
    assert wrong_probability_after(margin, u, d) == pytest.approx(want, abs=1e-9)


@pytest.mark.parametrize(("margin", "u", "d"), CASES)
def test_it_is_the_share_of_wrong_verdicts_in_a_simulation(
    margin: float, u: float, d: float
) -> None:
    # A truth about the margin now; a further reading of it; the best estimate of both.
    rng = np.random.default_rng(7)
    n = 400_000
    truth = margin + rng.normal(0.0, u, n)
    own = np.sqrt(u**4 / d**2 - u**2)  # a reading that removes d**2
    reading = truth + rng.normal(0.0, own, n)
    estimate = margin + (reading - margin) * u**2 / (u**2 + own**2)
    share = np.mean((truth > 0.0) != (estimate > 0.0))
    after = float(wrong_probability_after(margin, u, d))
    assert share == pytest.approx(after, abs=4 * np.sqrt(0.25 / n))
    now = np.mean((truth > 0.0) != (margin > 0.0)) if margin else 0.5
    assert now == pytest.approx(
        float(wrong_probability(margin, u)), abs=4 * np.sqrt(0.25 / n)
    )


def test_owens_closed_forms() -> None:
    # T(0, a) = arctan(a) / 2 pi and T(h, 1) = Phi(h) Phi(-h) / 2
    a = np.array([0.1, 0.5, 1.0, 3.0])
    d = 1.0 / np.sqrt(1.0 + a**2)
    np.testing.assert_allclose(
        wrong_probability_after(0.0, 1.0, d), np.arctan(a) / np.pi, atol=1e-14
    )
    h = np.array([0.0, 0.25, 1.0, 2.5])
    np.testing.assert_allclose(
        wrong_probability_after(h, 1.0, np.sqrt(0.5)),
        norm.cdf(h) * norm.cdf(-h),
        atol=1e-14,
    )
