"""Decision rules against JCGM 106:2012 and scipy.stats.

Marks: [M hi] inputs remembered with high confidence, [S2] seen in a secondary place,
[C] computed again from the inputs.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from checks.engine.conformity import assess_conformity
from checks.engine.uncertainty import tape_class_limit


def test_jcgm_106_upper_limit():
    # y = -5.47 V, u = 0.05 V, upper limit -5.40 V [M hi]: Phi(1.40) = 0.9192 [C].
    found = assess_conformity([-5.47], -np.inf, -5.40, 0.05)
    assert found.probability[0] == pytest.approx(0.9192, abs=5e-5)


def test_jcgm_106_lower_limit():
    # y = 509.7, u = 8.6, lower limit 490 [M hi]: Phi(2.29) = 0.9890 [C].
    found = assess_conformity([509.7], 490.0, np.inf, 8.6)
    assert found.probability[0] == pytest.approx(0.9890, abs=5e-5)


def test_jcgm_106_global_risks_of_the_resistor():
    # 1500 ohm, tolerance +-0.2, process 0.12, measurement 0.04, accepted within
    # +-0.18 [S2]: probability of conformance 0.9044, consumer's risk 0.00988,
    # producer's risk 0.0690 [C]; 1 % and 7 % published [S2]. The risks are integrals
    # of the probability of conformance over what is measured.
    process, measuring = 0.12, 0.04
    assert assess_conformity([0.0], -0.2, 0.2, process).probability[0] == pytest.approx(
        0.9044, abs=5e-5
    )
    seen = stats.norm(scale=np.hypot(process, measuring))
    belief = process**2 / (process**2 + measuring**2)
    doubt = process * measuring / np.hypot(process, measuring)

    def conforms(y):
        return assess_conformity([belief * y], -0.2, 0.2, doubt).probability[0]

    consumer, _ = quad(lambda y: (1 - conforms(y)) * seen.pdf(y), -0.18, 0.18)
    producer, _ = quad(lambda y: conforms(y) * seen.pdf(y), 0.18, 1.5)
    assert consumer == pytest.approx(0.00988, abs=5e-6)
    assert 2 * producer == pytest.approx(0.0690, abs=5e-5)


def test_probability_is_that_of_scipy_on_random_cases():
    rng = np.random.default_rng(11)
    d = rng.normal(scale=5.0, size=5_000)
    lower, upper = -rng.uniform(0, 8, 5_000), rng.uniform(0, 8, 5_000)
    u = rng.uniform(1e-3, 6.0, 5_000)
    expected = stats.norm.cdf(upper, d, u) - stats.norm.cdf(lower, d, u)
    # the plain difference of scipy's loses digits near 1: 1e-15
    np.testing.assert_allclose(
        assess_conformity(d, lower, upper, u).probability, expected, atol=1e-15
    )


def test_guard_band_of_jcgm_106_is_the_expanded_uncertainty():
    # Guard band w = r U, r = 1, U = 2 u: JCGM 106:2012 8.3.
    edge = np.array([10.0 - 2 * 0.7 - 1e-3, 10.0 - 2 * 0.7 + 1e-3])
    assert assess_conformity(edge, -10.0, 10.0, 0.7, guarded=True).within.tolist() == [
        True,
        False,
    ]


def test_oiml_r_35_limits():
    # OIML R 35-1, L in m: I +-(0.1 + 0.1 L), II +-(0.3 + 0.2 L),
    # III +-(0.6 + 0.4 L) mm.
    np.testing.assert_allclose(
        tape_class_limit([30_000.0] * 3, [1, 2, 3]), [3.1, 6.3, 12.6]
    )
