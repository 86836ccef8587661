"""The datum of the pads: how far each lies below the highest, whichever that is.

The highest of many noisy readings is too high: of 20 level pads read to 1 mm, one reads
about 2 mm above the rest by chance, and others then pass for low. So the heights
themselves are estimated, with the readings and with what pads are like [1]_::

    y_i = h_i + e_i ,   e_i ~ N(0, u_i²)              read, own uncertainty
    h_i ~ N(m, τ²)                                     pads of one job, τ unknown

A pad far from the others is no such pad: it keeps its own reading. For each τ of a grid
the heights are normal, and

    P(h_i is at most d below the highest) = E ∏_{j≠i} Φ((h_i + d - ĥ_j) / s_j)

over the normal h_i. The grid is weighted by its prior and by the likelihood of the
readings. The *depth* of a pad is the median of how far it lies below the highest: a pad
is more likely than not beyond a limit exactly where its depth is. The depth is never
negative, and 0 where a pad is more likely than not the highest itself. Without noise it
is the difference of the readings.

Grid, prior and the test of a pad far from the others are project choices.

References
----------
.. [1] B. Efron and C. Morris, "Data analysis using Stein's estimator and its
   generalizations", J. Am. Stat. Assoc. 70 (350), 311-319, 1975, for the shrinkage of
   means towards each other; here with a prior on τ.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray

SPREADS_MM = np.array([0.02, 0.4, 0.8, 1.2, 1.7, 2.4, 3.4, 6.0, 20.0])
"""Standard deviations τ of the pads of one job. Project choice."""

SPREAD_PRIOR = np.array([0.40, 0.12, 0.12, 0.12, 0.10, 0.07, 0.04, 0.02, 0.01])
"""Probability of each before anything is read. Project choice."""

MIN_PADS = 4
"""Fewer pads do not show what the pads of their job are like. Project choice.

They keep their own readings: only the largest spread counts.
"""

OUTLIER_RATIO = 3.5
"""Robust standard deviations from the median beyond which a pad stands alone."""

MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal values over their median absolute deviation."""

MIN_WEIGHT = 1e-5
"""Spreads of less probability are left out. Project choice."""

GRID_POINTS = (121, 41)
"""Points over all heights that the highest pad may have, and about the highest one."""

GRID_REACH = 6.0  # standard deviations of a pad beyond its own height

# Gauss-Hermite for the normal distribution: exact for polynomials to degree 29.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()

MEDIAN_STEPS = 40
"""Steps of false position that find a median at most: three to six for most pads."""

MEDIAN_TOLERANCE = 1e-10
"""Probability less one half at which false position stops. Its last line still gains
half as many digits again. [1]"""

CERTAIN_RATIO = 8.5
"""Standard deviations beyond which a normal probability is 1 in all its bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadDatum:
    """How far each pad lies below the highest one, and how well that is known."""

    depth_mm: FloatArray  # (n,) median below the highest pad; NaN where not read
    sigma_mm: FloatArray  # (n,) of a reading against the datum
    probability_within: FloatArray  # (n,) of lying at most the limit below
    datum_mm: float  # expected height of the highest pad, on the scale of the input
    datum_sigma_mm: float


@dataclass(frozen=True)
class _Posterior:
    """Heights given each spread τ of the grid."""

    weight: FloatArray  # (k,) of each τ
    height: FloatArray  # (k, n)
    sigma: FloatArray  # (k, n)
    grid: FloatArray  # (k, q) heights of the highest pad
    below: FloatArray  # (k, q) probability that every pad is below

    def interpolate_below(self, at: FloatArray) -> FloatArray:
        """Interpolate `below` at heights of each spread, (k, ...); `at` is consumed."""
        shape = (-1,) + (1,) * (at.ndim - 1)
        low, high, start = (each.reshape(shape) for each in self._ends)
        np.maximum(at, low, out=at)
        np.minimum(at, high, out=at)
        at += start
        return np.interp(at, *self._laid_end_to_end)

    @cached_property
    def _ends(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """First and last height of each spread's grid, and where it is laid."""
        low, high = self.grid[:, 0], self.grid[:, -1]
        return low, high, np.cumsum(high - low + 1.0) - low

    @cached_property
    def _laid_end_to_end(self) -> tuple[FloatArray, FloatArray]:
        """All grids in one, clear of each other: one call serves them all."""
        start = self._ends[2][:, None]
        return (self.grid + start).ravel(), self.below.ravel()


def estimate_datum(
    height_mm: npt.ArrayLike, sigma_mm: npt.ArrayLike, limit_mm: float
) -> PadDatum:
    """Estimate how far each pad lies below the highest one.

    Independent of the order of the pads and of the level their heights count from.

    Parameters
    ----------
    height_mm : array, shape (n,)
        Heights as read, from any one level; NaN where not read. [mm]
    sigma_mm : array, shape (n,)
        Standard uncertainty of each, without what all have in common. [mm]
    limit_mm : float
        Largest depth that is within. [mm]

    Returns
    -------
    PadDatum

    Raises
    ------
    ValueError
        If a pad that was read has an uncertainty that is not positive.
    """
    height = np.asarray(height_mm, dtype=np.float64)
    sigma = np.broadcast_to(np.asarray(sigma_mm, np.float64), height.shape)
    read = ~np.isnan(height)
    depth, within = np.full(height.size, np.nan), np.full(height.size, np.nan)
    if not read.any():
        return PadDatum(
            depth_mm=depth,
            sigma_mm=depth.copy(),
            probability_within=within,
            datum_mm=float("nan"),
            datum_sigma_mm=float("nan"),
        )
    if not (sigma[read] > 0.0).all():
        raise ValueError("the standard uncertainty of a pad is not positive")
    # From the highest reading: heights above sea level would lose digits.
    top = height[read].max()
    y, u = height[read] - top, sigma[read]
    posterior = _compute_posterior(y, u)
    datum, spread = _moments_of_highest(posterior)
    depth[read], within[read] = _median_depths(posterior, datum, spread, limit_mm)
    return PadDatum(
        depth_mm=depth,
        sigma_mm=np.where(read, np.hypot(sigma, spread), np.nan),
        probability_within=within,
        datum_mm=float(top + datum),
        datum_sigma_mm=spread,
    )


def count_low_pads(
    height_mm: npt.ArrayLike, sigma_mm: npt.ArrayLike, limit_mm: float
) -> tuple[int, float]:
    """Count the pads more likely than not further below the highest than a limit.

    The parameters are those of `estimate_datum`, whose depths are not needed here.

    Returns
    -------
    count : int
    datum_mm : float
        Expected height of the highest pad; NaN where nothing was read. [mm]
    """
    height = np.asarray(height_mm, dtype=np.float64)
    read = ~np.isnan(height)
    if not read.any():
        return 0, float("nan")
    top = height[read].max()
    sigma = np.broadcast_to(np.asarray(sigma_mm, np.float64), height.shape)[read]
    posterior = _compute_posterior(height[read] - top, sigma)
    within = _probability_below(posterior, np.full((1, sigma.size), limit_mm))
    return int(np.sum(within < 0.5)), float(top + _moments_of_highest(posterior)[0])


def _compute_posterior(y: FloatArray, u: FloatArray) -> _Posterior:
    """Compute the heights given each τ, and the weights of the grid."""
    alone = _find_outliers(y, u)
    total = SPREADS_MM[:, None] ** 2 + u**2
    share = np.where(alone, 0.0, 1.0 / total)
    mean = (share * y).sum(axis=1, keepdims=True) / share.sum(axis=1, keepdims=True)
    # The mean is unknown: integrated out, it leaves one degree of freedom less.
    log_likelihood = -0.5 * (
        np.where(alone, 0.0, np.log(total)).sum(axis=1)
        + np.log(share.sum(axis=1))
        + (share * (y - mean) ** 2).sum(axis=1)
    )
    weight = SPREAD_PRIOR * np.exp(log_likelihood - log_likelihood.max())
    if y.size < MIN_PADS:
        weight[:-1] = 0.0
    weight /= weight.sum()
    keep = weight > MIN_WEIGHT
    weight, mean = weight[keep] / weight[keep].sum(), mean[keep]
    shrink = np.where(alone, 1.0, SPREADS_MM[keep, None] ** 2 / total[keep])
    height = mean + shrink * (y - mean)
    sigma = np.sqrt(shrink) * u
    grid = _grid_of_highest(height, sigma)
    from scipy.special import ndtr

    # Pads that are certainly below the whole grid have a factor of 1.
    near = (height + CERTAIN_RATIO * sigma > grid[:, :1]).any(axis=0)
    h, s = height[:, None, near], sigma[:, None, near]
    below = ndtr((grid[:, :, None] - h) / s).prod(axis=2)
    return _Posterior(weight, height, sigma, grid, below)


def _grid_of_highest(height: FloatArray, sigma: FloatArray) -> FloatArray:
    """List heights that the highest pad may have given each τ, ascending, (k, q)."""
    low = (height - GRID_REACH * sigma).max(axis=1, keepdims=True)
    high = (height + GRID_REACH * sigma).max(axis=1, keepdims=True)
    wide = low + np.linspace(0.0, 1.0, GRID_POINTS[0]) * (high - low)
    each, top = np.arange(len(height)), height.argmax(axis=1)
    # The highest pad may be known far better than the others.
    reach = GRID_REACH * sigma[each, top][:, None]
    near = height[each, top][:, None] + np.linspace(-1.0, 1.0, GRID_POINTS[1]) * reach
    return np.sort(np.concatenate([wide, near], axis=1), axis=1)


def _find_outliers(y: FloatArray, u: FloatArray) -> BoolArray:
    """Find pads too far from the median to be like the others, (n,)."""
    off = np.abs(y - np.median(y))
    spread = np.maximum(MAD_TO_SIGMA * np.median(off), u)
    outliers: BoolArray = off > OUTLIER_RATIO * spread
    return outliers


def _moments_of_highest(posterior: _Posterior) -> tuple[float, float]:
    """Compute mean and standard deviation of the highest pad's height."""
    chance = np.diff(posterior.below, axis=1)
    middle = 0.5 * (posterior.grid[:, 1:] + posterior.grid[:, :-1])
    step = np.diff(posterior.grid, axis=1)
    total = chance.sum(axis=1)
    mean = (chance * middle).sum(axis=1) / total
    square = (chance * (middle**2 + step**2 / 12.0)).sum(axis=1) / total
    datum = float(posterior.weight @ mean)
    return datum, float(np.sqrt(max(posterior.weight @ square - datum**2, 0.0)))


def _probability_below(posterior: _Posterior, depth: FloatArray) -> FloatArray:
    """Compute P(pad i is at most `depth` below the highest), (r, n) as the depths."""
    from scipy.special import ndtr

    sigma = posterior.sigma[:, None, :, None]
    over = depth[:, :, None] + sigma * _NODES
    every = posterior.interpolate_below(posterior.height[:, None, :, None] + over)
    # The pad itself is not above itself: its own factor is taken out.
    over /= sigma
    every /= ndtr(over, out=over)
    within = np.minimum(every, 1.0, out=every) @ _WEIGHTS
    return np.asarray(np.tensordot(posterior.weight, within, axes=1))


def _median_depths(
    posterior: _Posterior, datum: float, datum_sigma: float, limit: float
) -> tuple[FloatArray, FloatArray]:
    """Compute the median of how far each pad lies below the highest, (n,).

    Also P(pad i is at most `limit` below the highest), (n,).

    A median is within one standard deviation of its mean: that is the interval which
    false position (the Illinois rule) narrows.
    """
    mean = posterior.weight @ posterior.height
    square = posterior.weight @ (posterior.height**2 + posterior.sigma**2)
    reach = datum_sigma + np.sqrt(np.maximum(square - mean**2, 0.0))
    low = np.maximum(datum - mean - reach, 0.0)
    high = np.maximum(datum - mean + reach, 0.0)
    ends = np.stack([low, high, np.full(low.size, limit)])
    at_low, at_high, within = _probability_below(posterior, ends)
    at_low, at_high = at_low - 0.5, at_high - 0.5
    is_highest = (low == 0.0) & (at_low >= 0.0)
    kept_low = np.zeros(low.size)
    for _ in range(MEDIAN_STEPS):
        middle = _cross_zero(low, high, at_low, at_high)
        value = _probability_below(posterior, middle[None])[0] - 0.5
        below = value >= 0.0
        # An end kept twice counts half, else the other would creep.
        at_low = np.where(below, np.where(kept_low > 0, at_low / 2.0, at_low), value)
        at_high = np.where(below, value, np.where(kept_low < 0, at_high / 2.0, at_high))
        kept_low = np.where(below, 1.0, -1.0)
        low, high = np.where(below, low, middle), np.where(below, middle, high)
        if (is_highest | (np.abs(value) <= MEDIAN_TOLERANCE)).all():
            break
    depth = _cross_zero(low, high, at_low, at_high)
    return np.where(is_highest, 0.0, depth), within


def _cross_zero(
    low: FloatArray, high: FloatArray, at_low: FloatArray, at_high: FloatArray
) -> FloatArray:
    """Return where the lines through two points each cross zero, (n,)."""
    rise = at_high - at_low
    share = np.divide(-at_low, rise, out=np.full(low.size, 0.5), where=rise > 0.0)
    np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
    return np.asarray(low + share * (high - low))
