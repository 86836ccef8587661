"""Heights from grade-rod readings, by least squares over every set-up.

A reading y in set-up s on point p is the height of the line of sight over it::

    y = HI(s) - H(p) + error          larger reading = lower point

so set-ups and points are the two sides of a graph and each reading is an edge. The
points are eliminated first, because their normal equations are diagonal. What remains
has one unknown for each set-up, which are few, however many pads there are.

Readings are first corrected for the line of sight (`line_of_sight`), where the sight
distances are known.

References
----------
.. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., chapter 12 (level nets).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray, IntArray, quadratic_forms
from checks.engine.errors import EngineError
from checks.engine.levelling.line_of_sight import compute_sight_corrections
from checks.engine.levelling.misclosure import find_largest_misclosure


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelAdjustment:
    """Adjusted heights, and how well the readings agree.

    Heights of different components cannot be compared: no reading connects them. A
    point without a reading has height NaN and component -1.

    `misclosure_mm` is the largest, in size, over all loops through set-ups and points
    (`misclosure`). With `loops`, the number of independent ones, 0 nothing was checked,
    and it is 0.0. Readings repeated on one point in one set-up make no loop; they count
    in `degrees_of_freedom`.
    """

    height_mm: FloatArray  # (p,) above the first point of its component
    sigma_mm: FloatArray  # (p,) of that, a priori
    component: IntArray  # (p,) label of connected points; -1 not read
    residual_mm: FloatArray  # (n,) adjusted less observed
    redundancy: FloatArray  # (n,) redundancy numbers, between 0 and 1
    w: FloatArray  # (n,) residual over its own sigma; NaN where nothing checks it
    correction_mm: FloatArray  # (n,) added to the readings for the line of sight
    misclosure_mm: float
    loops: int
    degrees_of_freedom: int
    reference_sigma: float  # a posteriori over a priori; NaN without redundancy
    _own: FloatArray  # (p,) variance of a point given its set-ups
    _mixing: FloatArray  # (p, m) share of each set-up in a point's height
    _cofactor: FloatArray  # (m, m) of the set-ups
    _free_cofactor: FloatArray  # (m, m) about the mean of each component's set-ups

    @property
    def own_sigma_mm(self) -> FloatArray:
        """Return each point's uncertainty without what its component has in common.

        Within one set-up that of its own readings, shape (p,). [mm]
        """
        spread = quadratic_forms(self._mixing, self._free_cofactor)
        return np.asarray(np.sqrt(np.maximum(self._own + spread, 0.0)), np.float64)

    def relative_to(self, point: int) -> tuple[FloatArray, FloatArray]:
        """Return heights and sigmas relative to one point.

        Parameters
        ----------
        point : int
            Index of the point that gets height 0 and sigma 0.

        Returns
        -------
        height_mm, sigma_mm : arrays, shape (p,)
            NaN for points not connected to it. [mm]
        """
        connected = (self.component == self.component[point]) & (self.component >= 0)
        height = np.where(connected, self.height_mm - self.height_mm[point], np.nan)
        own = self._own + self._own[point]
        own[point] = 0.0
        share = self._mixing - self._mixing[point]
        spread = quadratic_forms(share, self._cofactor)
        sigma = np.sqrt(np.maximum(own + spread, 0.0))
        return height, np.where(connected, sigma, np.nan)


def adjust_levels(
    reading_mm: npt.ArrayLike,
    setup: npt.ArrayLike,
    point: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    sight_mm: npt.ArrayLike | None = None,
    collimation_rad: npt.ArrayLike | None = None,
    n_points: int | None = None,
) -> LevelAdjustment:
    """Adjust grade-rod readings to heights.

    Weighted least squares on y = HI(s) - H(p), the weight 1/sigma**2 [1]_.

    Parameters
    ----------
    reading_mm : array, shape (n,)
        Grade-rod readings, larger = lower. [mm]
    setup, point : arrays of int, shape (n,)
        Set-up and point of each reading, from 0.
    sigma_mm : array, shape (n,) or scalar
        Standard uncertainty of each reading. [mm]
    sight_mm : array, shape (n,), optional
        Distance from the level to the rod, NaN where unknown. Corrections are made
        only in set-ups with all sights known: with only some of its readings
        corrected, a set-up would be worse than before. [mm]
    collimation_rad : array, shape (n,), or scalar, optional
        Collimation error, line of sight up positive. [rad]
    n_points : int, optional
        Number of points, where some have no reading.

    Returns
    -------
    LevelAdjustment

    Raises
    ------
    EngineError
        If a reading is not finite or a sigma is not positive.

    References
    ----------
    .. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., 12.2 to 12.5.
    """
    y = np.array(reading_mm, dtype=float)
    s = np.asarray(setup, dtype=np.intp)
    p = np.asarray(point, dtype=np.intp)
    sigma = np.broadcast_to(np.asarray(sigma_mm, dtype=float), y.shape)
    if not np.all(np.isfinite(y)):
        raise EngineError("Every grade-rod reading must be a number.")
    if not np.all(sigma > 0):
        raise EngineError("Every grade-rod reading needs an uncertainty above zero.")
    m = int(s.max(initial=-1)) + 1
    n_p = max(int(p.max(initial=-1)) + 1, n_points or 0)
    correction = compute_sight_corrections(sight_mm, s, collimation_rad, size=y.size)
    y += correction
    label = _label_components(s, p, m, n_p)
    weight = 1.0 / sigma**2
    own, mixing, cofactor, height, residual = _solve_heights(y, s, p, weight, label)
    redundancy = _redundancy(s, p, weight, own, mixing, cofactor)
    misclosure, loops = _largest_misclosure(residual, s, p, weight, label)
    read = np.bincount(p, minlength=n_p) > 0
    freedom = y.size - int(read.sum()) - np.unique(s).size + np.unique(label[s]).size
    first = _first_with_label(label[m:])
    component = np.full(n_p, -1)
    component[read] = np.unique(first[read], return_inverse=True)[1]
    return LevelAdjustment(
        height_mm=np.where(read, height - height[first], np.nan),
        sigma_mm=np.where(
            read, _sigma_from_first(first, own, mixing, cofactor), np.nan
        ),
        component=component,
        residual_mm=residual,
        redundancy=redundancy,
        w=_test_statistics(residual, sigma, redundancy),
        correction_mm=correction,
        misclosure_mm=misclosure,
        loops=loops,
        degrees_of_freedom=freedom,
        reference_sigma=compute_reference_sigma(weight, residual, freedom),
        _own=own,
        _mixing=mixing,
        _cofactor=cofactor,
        _free_cofactor=_remove_datum(cofactor, weight, label[:m]),
    )


def compute_reference_sigma(
    weight: FloatArray, residual: FloatArray, freedom: int
) -> float:
    """Compute the root of the weighted squares per degree of freedom; NaN at zero.

    Parameters
    ----------
    weight, residual : arrays, shape (n,)
        Weights 1/sigma**2 and residuals of an adjustment. [1/unit**2, unit]
    freedom : int
        Degrees of freedom.
    """
    if freedom <= 0:
        return float("nan")
    return float(np.sqrt(np.sum(weight * residual**2) / freedom))


def _redundancy(
    s: IntArray,
    p: IntArray,
    weight: FloatArray,
    own: FloatArray,
    mixing: FloatArray,
    cofactor: FloatArray,
) -> FloatArray:
    """Compute the redundancy numbers of the readings, (n,)."""
    share = -mixing[p]
    share[np.arange(s.size), s] += 1.0
    spread = quadratic_forms(share, cofactor)
    return np.clip(1.0 - weight * (own[p] + spread), 0.0, 1.0)


def _test_statistics(
    residual: FloatArray, sigma: FloatArray, redundancy: FloatArray
) -> FloatArray:
    """Compute residuals over their own sigmas, (n,); NaN where nothing checks one."""
    # Rounding leaves unchecked readings a redundancy just above zero.
    checked = redundancy > 1e-9
    w = np.full(residual.size, np.nan)
    w[checked] = residual[checked] / (sigma[checked] * np.sqrt(redundancy[checked]))
    return w


def _label_components(s: IntArray, p: IntArray, m: int, n_p: int) -> IntArray:
    """Label connected set-ups and points, shape (m + p,).

    The label is the first set-up of a component; a point without a reading has its
    own. Squaring the connection matrix doubles the path length with each round.
    """
    reads = np.zeros((n_p, m))
    reads[p, s] = 1.0
    connected = (reads.T @ reads > 0.0) | np.eye(m, dtype=np.bool_)
    while True:
        doubled = connected.astype(np.float64) @ connected > 0.0
        if (doubled == connected).all():
            break
        connected = doubled
    label = np.arange(m + n_p)
    label[:m] = connected.argmax(axis=1) if m else 0
    label[m + p] = label[s]
    return label.astype(np.intp)


def _solve_heights(
    y: FloatArray, s: IntArray, p: IntArray, weight: FloatArray, label: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Eliminate the points, solve for the set-ups, substitute back to the points.

    `label` holds the components of the set-ups, then of the points. Each set-up's
    readings are reduced by their mean first, so that the numbers stay small. The datum
    (the set-ups of a component sum to zero) cancels in every difference.
    """
    m = int(s.max(initial=-1)) + 1
    n_p = label.size - m
    count = np.maximum(np.bincount(s, minlength=m), 1)
    centre = np.bincount(s, y, minlength=m) / count
    reduced = y - centre[s]
    total = np.bincount(p, weight, minlength=n_p)
    own = np.divide(1.0, total, out=np.zeros(n_p), where=total > 0)
    shared = np.zeros((n_p, m))
    np.add.at(shared, (p, s), weight)
    mixing = own[:, None] * shared
    normal = np.diag(np.bincount(s, weight, minlength=m)) - shared.T @ mixing
    together = label[:m, None] == label[None, :m]
    cofactor = np.linalg.inv(normal + weight.max(initial=1.0) * together)
    lower = own * np.bincount(p, weight * reduced, minlength=n_p)
    line = cofactor @ np.bincount(s, weight * (reduced - lower[p]), minlength=m)
    height = mixing @ line - lower
    residual = line[s] - height[p] - reduced
    return own, mixing, cofactor, height, residual


def _remove_datum(
    cofactor: FloatArray, weight: FloatArray, label: IntArray
) -> FloatArray:
    """Remove what the datum of each component adds to its set-ups' cofactors.

    The normal matrix N has a null vector of ones in each component of m set-ups, so
    that inverse(N + w 1 1') = pseudo-inverse(N) + 1 1' / (w m²).
    """
    together = label[:, None] == label[None, :]
    share = together / together.sum(axis=1, keepdims=True) ** 2
    free: FloatArray = cofactor - share / weight.max(initial=1.0)
    return free


def _first_with_label(label: IntArray) -> IntArray:
    """Return the index of the first point with the same label, shape (p,)."""
    _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
    first_index: IntArray = first[inverse]
    return first_index


def _sigma_from_first(
    first: IntArray, own: FloatArray, mixing: FloatArray, cofactor: FloatArray
) -> FloatArray:
    """Compute sigma of each height above its component's first point, shape (p,)."""
    share = mixing - mixing[first]
    spread = quadratic_forms(share, cofactor)
    variance = np.where(first == np.arange(own.size), 0.0, own + own[first] + spread)
    sigma: FloatArray = np.sqrt(np.maximum(variance, 0.0))
    return sigma


def _largest_misclosure(
    residual: FloatArray, s: IntArray, p: IntArray, weight: FloatArray, label: IntArray
) -> tuple[float, int]:
    """Find the largest misclosure of all loops, and the number of independent loops.

    Repeats are averaged first.
    """
    if not residual.size:
        return 0.0, 0
    n_p = int(p.max()) + 1
    pair, inverse = np.unique(s * n_p + p, return_inverse=True)
    mean = np.bincount(inverse, weight * residual) / np.bincount(inverse, weight)
    found = find_largest_misclosure(mean, pair // n_p, pair % n_p)
    nodes = np.unique(s).size + np.unique(p).size
    loops = pair.size - nodes + np.unique(label[s]).size
    return (found.misclosure_mm if loops else 0.0), loops
