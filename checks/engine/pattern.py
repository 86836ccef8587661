"""Rod positions of a pattern, from setbacks, offsets and gages.

        in ^          reference line
           |          :      (3)         setback   s = in of a rod
           |   (1)----:------(2)         offset    o = along of a rod, signed
           |          :                  gage      g = centre to centre of two rods
    -------+----------+------------> along         (1)-(2) here
             steel line

Weighted least squares, for all rods of a building (or of many) at once::

    minimise sum(((in_i - s) / u_s)**2) + sum(((along_i - o) / u_o)**2)
             + sum(((|x_j - x_i| - g) / u_g)**2)

Setbacks and offsets alone give weighted means, each coordinate by itself. Patterns
with gages are solved by Gauss-Newton, all patterns in one stack of normal equations.

A coordinate is determined if the readings fix it to first order at the plan's
geometry. A gage counts only if both its rods are determined: otherwise its information
about one rod depends on a guess about the other.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.pattern_stack import PatternStack, StackedGages, find_determined

RodReadings = tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike]
"""Rod, value and standard uncertainty of readings that name one rod. [1, mm, mm]"""

GageReadings = tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike, npt.ArrayLike]
"""Both rods, value and standard uncertainty of gages. [1, 1, mm, mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternSolution:
    """Rods as built; a coordinate that is not determined is NaN."""

    rods_mm: FloatArray  # (n_rods, 2) along and in, from reference and steel line
    determined: BoolArray  # (n_rods, 2)
    sigma_mm: FloatArray  # (n_rods, 2) standard uncertainty
    # (n_rods,) the gages of its pattern fit no positions near the plan
    contradictory: BoolArray
    # (n_rods, 2) the other place that the gages allow as well; NaN without one
    other_mm: FloatArray
    setback_residuals_mm: FloatArray  # adjusted less read, one per setback
    offset_residuals_mm: FloatArray  # one per offset
    gage_residuals_mm: FloatArray  # one per gage; NaN where it could not be used


@dataclass(frozen=True, slots=True)
class _DirectReadings:
    """Weighted means of the setbacks and offsets of each coordinate."""

    value: FloatArray  # (n_rods, 2) weighted mean, 0 where none
    weight: FloatArray  # (n_rods, 2) sum of 1 / sigma**2

    @property
    def is_read(self) -> BoolArray:
        return self.weight > 0.0


def solve_patterns(
    nominal_mm: npt.ArrayLike,
    position: npt.ArrayLike,
    *,
    setback: RodReadings = ((), (), ()),
    offset: RodReadings = ((), (), ()),
    gage: GageReadings = ((), (), (), ()),
) -> PatternSolution:
    """Solve for the rods of all patterns from any mix of readings.

    Least squares by Gauss-Newton to 1e-9 mm [1]_. The start is the plan, shifted by the
    average of the pattern's setbacks and offsets. Where gages allow a rod two places,
    the mirror image is tried, too (one rod at a time), and of the solutions that fit
    alike the one nearest to the plan is taken.

    Parameters
    ----------
    nominal_mm : array, shape (n_rods, 2)
        Planned rods, along and in, each in its position's own axes. [mm]
    position : array of int, shape (n_rods,)
        Position of each rod, any numbers in any order. [1]
    setback : (rods, values, sigmas), arrays of one shape
        Steel line to rod, square to the wall. NaN value: not read. [1, mm, mm]
    offset : (rods, values, sigmas), arrays of one shape
        Reference line to rod, along the wall, signed. [1, mm, mm]
    gage : (rods, rods, values, sigmas), arrays of one shape
        Centre to centre of two rods of one position. [1, 1, mm, mm]

    Returns
    -------
    PatternSolution
        Coordinates, which of them are determined, standard uncertainties, residuals,
        and the other place of a rod for which gages allow two. No place counts in which
        a pair of rods would have to swap sides.
        Where the gages of a pattern contradict the rest (no convergence, or a pair
        of rods would have to swap sides) they are ignored for that pattern and
        `contradictory` is set for its rods. [mm]

    Raises
    ------
    ValueError
        If a reading names a rod that does not exist, a gage names one rod twice or
        rods of two positions, or a sigma is not positive.

    References
    ----------
    .. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., 2010, chapters 11
       (nonlinear least squares) and 14 (distances); weighted means chapter 10.
    """
    nominal = np.asarray(nominal_mm, dtype=np.float64).reshape(-1, 2)
    group = np.asarray(position).reshape(-1)
    n = len(nominal)
    along, inward = (
        _check_rod_readings(offset, n, "offset"),
        _check_rod_readings(setback, n, "setback"),
    )
    ends, value, weight = _check_gages(gage, n, group)
    direct = _average_direct(n, along, inward)

    rods = np.where(direct.is_read, direct.value, np.nan)
    with np.errstate(divide="ignore"):
        sigma = np.where(direct.is_read, 1.0 / np.sqrt(direct.weight), np.nan)
    contradictory = np.zeros(n, dtype=np.bool_)
    other = np.full((n, 2), np.nan)
    used = np.zeros(len(value), dtype=np.bool_)
    if np.any(weight > 0.0):
        members, gages = _stack_patterns(group, ends, value, weight)
        real = members >= 0
        fit = _solve_stack(nominal, direct, members, gages)
        rods[members[real]] = fit.rods[real]
        sigma[members[real]] = fit.sigma[real]
        other[members[real]] = fit.other[real]
        contradictory[members[real]] = np.broadcast_to(
            fit.contradictory[:, None], real.shape
        )[real]
        used = fit.used
    spans = rods[ends[:, 1]] - rods[ends[:, 0]]
    return PatternSolution(
        rods_mm=rods,
        determined=~np.isnan(rods),
        sigma_mm=sigma,
        contradictory=contradictory,
        other_mm=other,
        setback_residuals_mm=rods[inward[0], 1] - inward[1],
        offset_residuals_mm=rods[along[0], 0] - along[1],
        gage_residuals_mm=np.where(
            used, np.hypot(spans[:, 0], spans[:, 1]) - value, np.nan
        ),
    )


def _check_rods(which: npt.ArrayLike, n: int, quantity: str) -> IntArray:
    rod = np.asarray(which, dtype=np.intp).reshape(-1)
    if np.any((rod < 0) | (rod >= n)):
        raise ValueError(f"a {quantity} names a rod that is not one of 0 to {n - 1}")
    return rod


def _values_and_weights(
    values: npt.ArrayLike, sigmas: npt.ArrayLike, quantity: str
) -> tuple[FloatArray, FloatArray]:
    """Return values, and weights 1 / sigma**2 with 0 where nothing was read."""
    value = np.asarray(values, dtype=np.float64).reshape(-1)
    sigma = np.broadcast_to(np.asarray(sigmas, dtype=np.float64), value.shape)
    there = ~np.isnan(value)
    if np.any(there & ~(sigma > 0.0)):
        raise ValueError(f"the standard uncertainty of a {quantity} is not positive")
    return value, np.where(there, np.where(there, sigma, 1.0) ** -2.0, 0.0)


def _check_rod_readings(
    readings: RodReadings, n: int, quantity: str
) -> tuple[IntArray, FloatArray, FloatArray]:
    value, weight = _values_and_weights(readings[1], readings[2], quantity)
    return _check_rods(readings[0], n, quantity), value, weight


def _check_gages(
    gage: GageReadings, n: int, group: npt.NDArray[np.generic]
) -> tuple[IntArray, FloatArray, FloatArray]:
    ends = np.stack(
        [_check_rods(gage[0], n, "gage"), _check_rods(gage[1], n, "gage")], axis=1
    )
    if np.any(ends[:, 0] == ends[:, 1]):
        raise ValueError("a gage names one rod twice")
    if np.any(group[ends[:, 0]] != group[ends[:, 1]]):
        raise ValueError("a gage names rods of two positions")
    value, weight = _values_and_weights(gage[2], gage[3], "gage")
    return ends, value, weight


def _average_direct(
    n: int,
    along: tuple[IntArray, FloatArray, FloatArray],
    inward: tuple[IntArray, FloatArray, FloatArray],
) -> _DirectReadings:
    weight, weighted_sum = np.zeros((n, 2)), np.zeros((n, 2))
    for axis, (rod, value, weights) in enumerate((along, inward)):
        is_read = np.where(weights > 0.0, value, 0.0)
        weight[:, axis] = np.bincount(rod, weights=weights, minlength=n)
        weighted_sum[:, axis] = np.bincount(rod, weights=weights * is_read, minlength=n)
    return _DirectReadings(weighted_sum / np.where(weight > 0.0, weight, 1.0), weight)


def _stack_patterns(
    group: npt.NDArray[np.generic],
    ends: IntArray,
    value: FloatArray,
    weight: FloatArray,
) -> tuple[IntArray, StackedGages]:
    """Stack the rods of patterns with gages, (patterns, slots), -1 where empty."""
    _, pattern = np.unique(group, return_inverse=True)
    wanted = np.unique(pattern[ends[:, 0]])
    place = np.full(pattern.max() + 1, -1, dtype=np.intp)
    place[wanted] = np.arange(len(wanted))
    rods = np.flatnonzero(place[pattern] >= 0)
    rods = rods[np.argsort(place[pattern[rods]], kind="stable")]
    row = place[pattern[rods]]
    first = np.searchsorted(row, np.arange(len(wanted)))
    slot = np.arange(len(rods)) - first[row]
    members = np.full((len(wanted), int(slot.max()) + 1), -1, dtype=np.intp)
    members[row, slot] = rods
    slot_of = np.zeros(len(pattern), dtype=np.intp)
    slot_of[rods] = slot
    return members, StackedGages(
        place[pattern[ends[:, 0]]], slot_of[ends], value, weight
    )


@dataclass(frozen=True, slots=True)
class _PatternFit:
    rods: FloatArray  # (patterns, slots, 2) NaN where not determined
    sigma: FloatArray  # (patterns, slots, 2)
    other: FloatArray  # (patterns, slots, 2) NaN where there is one place
    contradictory: BoolArray  # (patterns,)
    used: BoolArray  # (g,)


def _solve_stack(
    nominal: FloatArray,
    direct: _DirectReadings,
    members: IntArray,
    gages: StackedGages,
) -> _PatternFit:
    real = (members >= 0)[:, :, None]
    # Reduced to a rod of each pattern: plan coordinates are large, residuals small.
    middle = nominal[members[:, :1]]
    plan = np.where(real, nominal[members] - middle, 0.0)
    weight = np.where(real, direct.weight[members], 0.0)
    is_read = weight > 0.0
    value = np.where(is_read, direct.value[members] - middle, 0.0)
    fixed, used = find_determined(plan, is_read, real, gages)
    gages = StackedGages(
        gages.pattern, gages.slot, gages.value, np.where(used, gages.weight, 0.0)
    )
    stack = PatternStack(plan, value, weight, fixed & real, gages)
    found = stack.solve(_initial_rods(plan, value, is_read))
    other = np.full(plan.shape, np.nan)
    if (stack.fixed & ~is_read).any():
        stack.retry_from_plan(found, is_read)
        other = stack.choose_nearest(found, is_read)
    rods, inverse, good = found.rods, found.inverse, found.good

    bad = ~good[:, None, None]
    each = np.arange(inverse.shape[1])
    spread = np.sqrt(np.abs(inverse[:, each, each])).reshape(rods.shape)
    with np.errstate(divide="ignore"):
        alone = 1.0 / np.sqrt(weight)
    keep = np.where(bad, is_read, fixed & real)
    return _PatternFit(
        rods=np.where(keep, np.where(bad, value, rods) + middle, np.nan),
        sigma=np.where(keep, np.where(bad, alone, spread), np.nan),
        other=np.where(keep & ~bad, other + middle, np.nan),
        contradictory=~good,
        used=used & good[gages.pattern],
    )


def _initial_rods(
    plan: FloatArray, value: FloatArray, is_read: BoolArray
) -> FloatArray:
    """Return the direct readings, and the plan shifted by their mean elsewhere."""
    offset = np.where(is_read, value - plan, 0.0).sum(axis=1, keepdims=True)
    offset = offset / np.maximum(is_read.sum(axis=1, keepdims=True), 1)
    return np.where(is_read, value, plan + offset)
