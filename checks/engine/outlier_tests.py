"""Tests for readings that the others of an adjustment contradict.

    w_i = v_i / (sigma_i sqrt(r_i))

with v the residual and r the redundancy, W. Baarda, *A testing procedure for use in
geodetic networks*, Netherlands Geodetic Commission, 1968. With one degree of freedom
all |w| are equal: it is one test, |w| > 3.29, and no reading can be named.

With more, the readings themselves show how large their noise is. The assumed one counts
as nu0 = 8 degrees of freedom more, and each reading is tested without its own part::

    s_i**2 = (nu0 + Omega - w_i**2) / (nu0 + f - 1),    |w_i| / s_i > t

Omega the weighted sum of squares, f the degrees of freedom, t the two-sided point of
Student's distribution with nu0 + f - 1 degrees of freedom at 1 % over all readings
(Bonferroni). The externally studentised residual is that of R. D. Cook and S. Weisberg,
*Residuals and Influence in Regression*, 1982, 2.2.1; nu0 and 1 % are project choices.
"""

from functools import lru_cache

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray

CRITICAL_W = 3.29
"""|w| beyond which a single test fails: two-sided at 0.001, as Baarda takes it."""

PRIOR_FREEDOM = 8.0
"""Degrees of freedom that the assumed noise counts for. Project choice. [1]"""

FALSE_ALARM_RATE = 0.01
"""Of all tests of one adjustment together. Project choice. [1]"""

INSEPARABLE_CORRELATION = 1.0 - 1e-6
"""Correlation of two residuals from which an error has no one place. [1]"""


def find_large_residuals(
    size: FloatArray, omega: FloatArray, freedom: IntArray, tests: IntArray
) -> BoolArray:
    """Find the residuals that are too large for the noise.

    Parameters
    ----------
    size : array, shape (b, m)
        |w| of each reading; negative where no other checks it. [1]
    omega : array, shape (b,)
        Weighted sum of squared residuals. [1]
    freedom : array of int, shape (b,)
        Degrees of freedom. [1]
    tests : array of int, shape (b,)
        Tests of each adjustment. [1]

    Returns
    -------
    array of bool, shape (b, m)
    """
    if not (freedom > 1).any():
        return size > CRITICAL_W
    counted = PRIOR_FREEDOM + freedom - 1.0
    own = np.maximum(size, 0.0) ** 2
    left = np.maximum(PRIOR_FREEDOM + omega[:, None] - own, PRIOR_FREEDOM / 2.0)
    student = np.maximum(size, 0.0) / np.sqrt(left / np.maximum(counted, 1.0)[:, None])
    critical = _critical_values(freedom, tests)
    return np.where(
        (freedom > 1)[:, None], student > critical[:, None], size > CRITICAL_W
    )


def _critical_values(freedom: IntArray, tests: IntArray) -> FloatArray:
    """Return the critical value of each adjustment, (b,); infinite without a test."""
    cases = freedom * (int(tests.max(initial=0)) + 1) + tests
    unique, back = np.unique(cases, return_inverse=True)
    first = np.zeros(len(unique), dtype=np.intp)
    first[back] = np.arange(len(cases))
    values = [studentised_limit(int(freedom[i]), int(tests[i])) for i in first.tolist()]
    return np.array(values, dtype=np.float64)[back]


@lru_cache(maxsize=1024)
def studentised_limit(freedom: int, tests: int) -> float:
    """Compute the limit of the studentised residuals of one adjustment.

    Parameters
    ----------
    freedom : int
        Degrees of freedom of the adjustment. [1]
    tests : int
        Readings tested. [1]

    Returns
    -------
    float
        Two-sided limit at `FALSE_ALARM_RATE` over all tests; infinite without any, or
        without two degrees of freedom. [1]
    """
    from scipy.special import stdtrit

    if tests < 1 or freedom < 2:
        return float("inf")
    one_sided = FALSE_ALARM_RATE / (2.0 * tests)
    return -float(stdtrit(PRIOR_FREEDOM + freedom - 1.0, one_sided))


def find_inseparable(
    matrix: FloatArray, through: FloatArray, redundancy: FloatArray, size: FloatArray
) -> BoolArray:
    """Find the readings whose residuals correlate fully with the largest |w|.

    An error in any of them would leave the same residuals, so none can be named.

    Parameters
    ----------
    matrix : array, shape (b, m, u)
        Weighted rows A of the readings. [1]
    through : array, shape (b, m, u)
        A (A' A)^-1. [1]
    redundancy : array, shape (b, m)
        [1]
    size : array, shape (b, m)
        |w|; negative where no other reading checks this one. [1]

    Returns
    -------
    array of bool, shape (b, m)
    """
    if matrix.shape[1] == 0:
        return np.zeros(size.shape, dtype=np.bool_)
    networks = np.arange(len(matrix))
    largest = size.argmax(axis=1)
    across = -(matrix @ through[networks, largest][:, :, None])[:, :, 0]
    across[networks, largest] = redundancy[networks, largest]
    scale = np.sqrt(redundancy * redundancy[networks, largest][:, None])
    usable = (size >= 0.0) & (size[networks, largest] >= 0.0)[:, None]
    twin = usable & (np.abs(across) > INSEPARABLE_CORRELATION * scale) & (scale > 0.0)
    return np.asarray(twin & (twin.sum(axis=1) > 1)[:, None])
