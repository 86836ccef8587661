"""The datum of the pads against tables of order statistics and against sampling.

Expected highest of n standard normal values: H. L. Harter, "Expected values of normal
order statistics", Biometrika 48 (1961), 151-165; the values are from memory, with high
confidence, and are integrated here once more by SciPy.
"""

import numpy as np
import pytest
from scipy import integrate, stats

from checks.engine.levelling import datum
from checks.engine.levelling.datum import estimate_datum

LIMIT = 3.175
HARTER = {2: 0.56419, 4: 1.02938, 8: 1.42360, 20: 1.86748, 40: 2.16078}


@pytest.fixture
def flat_prior(monkeypatch):
    """Readings alone: pads may lie anywhere."""
    monkeypatch.setattr(datum, "SPREADS_MM", np.array([1e7]))
    monkeypatch.setattr(datum, "SPREAD_PRIOR", np.array([1.0]))


@pytest.mark.parametrize(("pads", "expected"), HARTER.items())
def test_the_expected_highest_of_equal_readings(
    pads, expected, flat_prior, monkeypatch
):
    monkeypatch.setattr(datum, "MIN_PADS", 0)
    found = estimate_datum(np.zeros(pads), 1.0, LIMIT)
    assert found.datum_mm == pytest.approx(expected, abs=2e-3)
    mean, _ = integrate.quad(
        lambda x: x * pads * stats.norm.pdf(x) * stats.norm.cdf(x) ** (pads - 1), -9, 9
    )
    assert mean == pytest.approx(expected, abs=5e-6)


def test_two_pads_by_hand():
    # their difference is normal about 4 with sqrt(2) u; the prior hardly counts
    found = estimate_datum([0.0, -4.0], 1.0, LIMIT)
    assert found.depth_mm[1] == pytest.approx(4.0, abs=0.02)
    expected = stats.norm.cdf((LIMIT - 4.0) / np.sqrt(2.0))
    assert found.probability_within[1] == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("spread", [0.4, 1.7])
def test_one_spread_against_sampling(spread, monkeypatch):
    """Posterior by Efron and Morris's shrinkage, its highest pad by sampling."""
    monkeypatch.setattr(datum, "SPREADS_MM", np.array([spread]))
    monkeypatch.setattr(datum, "SPREAD_PRIOR", np.array([1.0]))
    rng = np.random.default_rng(5)
    y, u = rng.normal(0, 1.5, 12), rng.uniform(0.6, 1.4, 12)
    share = 1.0 / (spread**2 + u**2)
    mean = (share * y).sum() / share.sum()
    shrink = spread**2 * share
    height = mean + shrink * (y - mean)
    draws = height + np.sqrt(shrink) * u * rng.normal(size=(200_000, 12))
    below = draws.max(axis=1, keepdims=True) - draws
    found = estimate_datum(y, u, 1.0)
    np.testing.assert_allclose(found.depth_mm, np.median(below, axis=0), atol=0.02)
    np.testing.assert_allclose(
        found.probability_within, (below <= 1.0).mean(axis=0), atol=0.01
    )
    assert found.datum_mm == pytest.approx(draws.max(axis=1).mean(), abs=0.01)
    assert found.datum_sigma_mm == pytest.approx(draws.max(axis=1).std(), abs=0.01)


def test_the_weights_of_the_spreads_are_those_of_their_likelihood():
    """Two spreads, the likelihood by SciPy's multivariate normal with a vague mean."""
    y, u = np.array([0.0, 3.0, -2.0, 1.0, -1.5, 2.0]), 1.0
    vague = 1e4
    log_likelihood = [
        stats.multivariate_normal.logpdf(
            y, cov=(spread**2 + u**2) * np.eye(6) + vague * np.ones((6, 6))
        )
        for spread in datum.SPREADS_MM
    ]
    weight = datum.SPREAD_PRIOR * np.exp(np.array(log_likelihood))
    weight /= weight.sum()
    found = datum._compute_posterior(y, np.full(6, u))
    keep = weight > datum.MIN_WEIGHT
    np.testing.assert_allclose(
        found.weight, weight[keep] / weight[keep].sum(), rtol=0.01
    )
