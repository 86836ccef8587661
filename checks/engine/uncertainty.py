"""Uncertainty of readings, and of repeats taken together.

All uncertainties are standard ones (1 sigma) unless called expanded (k = 2). An effect
known only by its bound is taken as rectangular: its half-width divided by sqrt(3),
JCGM 100:2008 (GUM) 4.3.7. Independent parts add in quadrature, GUM 5.1.2.

A steel tape's accuracy class bounds its error at +-(a + b L) mm, L in metres rounded
up to whole ones, OIML R 35-1:

    class     a [mm]   b [mm/m]
    I          0.1      0.1
    II         0.3      0.2
    III        0.6      0.4

A level and rod have 1.0 mm at 30 m, in proportion to the sight (common practice),
unless the instrument has its own value.

What several readings have in common is kept apart from what belongs to each alone. The
class term is one unknown error of a tape, the same on every day; an unknown temperature
is one of a day, for all steel tapes. Each has unit variance, and a reading's *loading*
on it is the size and sign that it has in that reading. Handling is what no class
covers: the pull, the mark and the plumb bob, each time anew.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.tape import STEEL_EXPANSION

ASSUMED_CLASS = 2
"""Accuracy class of a tape without one."""

UNKNOWN_TEMPERATURE_C = 10.0
"""Bound on a tape's distance from its standard temperature if none was noted. [°C]"""

LEVEL_UNCERTAINTY_MM = 1.0
"""Standard uncertainty of a grade-rod reading at `LEVEL_SIGHT_MM`. [mm]"""

LEVEL_REFERENCE_SIGHT_MM = 30_000.0
"""Sight for which `LEVEL_UNCERTAINTY_MM` holds, assumed where none is given. [mm]"""

HANDLING_FIXED_MM = 0.5
"""Standard uncertainty of pulling, marking and plumbing a short tape. Project choice:
no standard has it, and with the resolution alone one honest outline in eight would be
called contradictory at 1 mm of real noise. [mm]"""

HANDLING_PER_M_MM = 0.1
"""Growth of the handling term with the length read. Project choice. [mm/m]"""

HANDLING_LIMIT_MM = 1.5
"""Largest handling term, from 10 m on. Project choice. [mm]"""

_CLASS_FIXED_MM = np.array([np.nan, 0.1, 0.3, 0.6])
_CLASS_PER_M_MM = np.array([np.nan, 0.1, 0.2, 0.4])
_WHOLE_METRE_SLACK_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyParts:
    """Standard uncertainty of each reading, by cause. [mm], all of shape (n,).

    `class_mm` is common to all readings of a tape, `temperature_mm` to all of a day:
    repeats do not lower them. The others belong to each reading alone.
    """

    class_mm: FloatArray
    resolution_mm: FloatArray
    temperature_mm: FloatArray
    handling_mm: FloatArray
    level_mm: FloatArray
    combined_mm: FloatArray

    @property
    def independent_mm(self) -> FloatArray:
        """Return the part of each reading's uncertainty that it shares with none."""
        squares = self.resolution_mm**2 + self.handling_mm**2 + self.level_mm**2
        return np.asarray(np.sqrt(squares))


def select_parts(
    parts: UncertaintyParts, which: BoolArray | IntArray
) -> UncertaintyParts:
    """Select some readings' uncertainties, by a mask (n,) or indices. [mm]

    Parameters
    ----------
    parts : UncertaintyParts
        Of n readings. [mm]
    which : array
        The readings. [1]
    """
    return UncertaintyParts(
        **{each.name: getattr(parts, each.name)[which] for each in fields(parts)}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatStatistics:
    """Statistics of each check's readings; of shape (n_checks,) unless said.

    NaN (and False) where a check has no reading. `spread_mm` is largest less
    smallest; `disagree` is True where it exceeds `spread_limit_mm`. `common_mm` is 0
    without a reading, and

        uncertainty_mm**2 = independent_mm**2 + sum(common_mm**2 over the errors)
    """

    mean_mm: FloatArray
    uncertainty_mm: FloatArray
    independent_mm: FloatArray
    common_mm: FloatArray  # (n_checks, n_common) loadings of the mean
    count: IntArray
    spread_mm: FloatArray
    spread_limit_mm: FloatArray
    disagree: BoolArray


def tape_class_limit(
    length_mm: npt.ArrayLike, accuracy_class: npt.ArrayLike = ASSUMED_CLASS
) -> FloatArray:
    """Compute the maximum permissible error of a steel tape over a length.

    a + b L with L in metres rounded up [1]_. A length that is a whole metre to within
    1e-6 mm is not rounded up to the next: a conversion from feet must not change it.

    Parameters
    ----------
    length_mm : array, shape (n,)
        Lengths read; signs do not matter. [mm]
    accuracy_class : array of int, shape (n,) or scalar
        1, 2 or 3; 0 or NaN: none given, class II is assumed. [1]

    Returns
    -------
    array, shape (n,)
        Half-width of the interval that contains the tape's error. [mm]

    Raises
    ------
    ValueError
        If a class is none of these.

    References
    ----------
    .. [1] OIML R 35-1:2007, *Material measures of length for general use*,
       maximum permissible errors by accuracy class.
    """
    length = np.abs(np.asarray(length_mm, dtype=np.float64))
    given = np.nan_to_num(np.asarray(accuracy_class, dtype=np.float64), nan=0.0)
    if not np.all(np.isin(given, (0.0, 1.0, 2.0, 3.0))):
        raise ValueError("an accuracy class is 1, 2 or 3, or 0 where none is given")
    row = np.where(given == 0.0, ASSUMED_CLASS, given).astype(np.intp)
    metres = np.ceil((length - _WHOLE_METRE_SLACK_MM) / 1000.0)
    limit = _CLASS_FIXED_MM[row] + _CLASS_PER_M_MM[row] * np.maximum(metres, 0.0)
    return np.asarray(limit, dtype=np.float64)


def handling_uncertainty(length_mm: npt.ArrayLike) -> FloatArray:
    """Compute the standard uncertainty of handling a tape: min(0.5 + 0.1 L, 1.5) mm.

    L in metres. Project choice: pulling, marking and plumbing have no published value
    that covers a taped foundation.

    Parameters
    ----------
    length_mm : array, shape (n,)
        Lengths read; signs do not matter. [mm]

    Returns
    -------
    array, shape (n,)
        Standard uncertainties. [mm]
    """
    metres = np.abs(np.asarray(length_mm, dtype=np.float64)) / 1000.0
    handling = HANDLING_FIXED_MM + HANDLING_PER_M_MM * metres
    return np.minimum(handling, HANDLING_LIMIT_MM)


def reading_uncertainty(
    length_mm: npt.ArrayLike,
    resolution_mm: npt.ArrayLike,
    accuracy_class: npt.ArrayLike = ASSUMED_CLASS,
    temperature_known: npt.ArrayLike = True,
    *,
    expansion: float = STEEL_EXPANSION,
) -> UncertaintyParts:
    """Compute the standard uncertainty of tape readings, by cause.

    Rectangular, each [1]_::

        class       = (a + b L) / sqrt(3)
        resolution  = (resolution / 2) / sqrt(3)
        temperature = expansion * 10 °C * L / sqrt(3), or 0 where it was noted

    and `handling_uncertainty`, which is a standard uncertainty already.

    Parameters
    ----------
    length_mm : array, shape (n,)
        Lengths read; signs do not matter. [mm]
    resolution_mm : array, shape (n,) or scalar
        Last fraction or decimal of the reading as typed. [mm]
    accuracy_class : array of int, shape (n,) or scalar
        1, 2 or 3; 0 or NaN: none given, class II is assumed. [1]
    temperature_known : array of bool, shape (n,) or scalar
        True where the tape's temperature was noted. [bool]
    expansion : float
        Thermal expansion of the tape. [1/°C]

    Returns
    -------
    UncertaintyParts
        Class, resolution, temperature and handling terms; the level's is zero. [mm]

    References
    ----------
    .. [1] JCGM 100:2008, *Guide to the expression of uncertainty in measurement*,
       4.3.7 and 5.1.2; OIML R 35-1:2007 for the class.
    """
    length = np.abs(np.asarray(length_mm, dtype=np.float64))
    unknown = np.where(np.asarray(temperature_known, bool), 0.0, UNKNOWN_TEMPERATURE_C)
    return _combine_parts(
        length.shape,
        class_mm=tape_class_limit(length, accuracy_class) / np.sqrt(3.0),
        resolution_mm=np.asarray(resolution_mm, dtype=np.float64) / np.sqrt(12.0),
        temperature_mm=expansion * unknown * length / np.sqrt(3.0),
        handling_mm=handling_uncertainty(length),
        level_mm=np.zeros(()),
    )


def level_uncertainty(
    sight_mm: npt.ArrayLike,
    resolution_mm: npt.ArrayLike = 0.0,
    at_30_m_mm: npt.ArrayLike = np.nan,
) -> UncertaintyParts:
    """Compute the standard uncertainty of grade-rod readings, by cause.

    level = at_30_m * sight / 30 m (common practice); resolution rectangular [1]_.

    Parameters
    ----------
    sight_mm : array, shape (n,)
        Distance from level to rod. NaN: not given, 30 m is assumed. [mm]
    resolution_mm : array, shape (n,) or scalar
        Last fraction or decimal of the reading as typed. [mm]
    at_30_m_mm : array, shape (n,) or scalar
        The instrument's standard uncertainty at 30 m. NaN: not given, 1.0 mm. [mm]

    Returns
    -------
    UncertaintyParts
        Level and resolution terms; the others are zero. [mm]

    References
    ----------
    .. [1] JCGM 100:2008, *Guide to the expression of uncertainty in measurement*,
       4.3.7 and 5.1.2.
    """
    sight = np.asarray(sight_mm, dtype=np.float64)
    sight = np.where(np.isnan(sight), LEVEL_REFERENCE_SIGHT_MM, np.abs(sight))
    instrument = np.asarray(at_30_m_mm, dtype=np.float64)
    instrument = np.where(np.isnan(instrument), LEVEL_UNCERTAINTY_MM, instrument)
    return _combine_parts(
        sight.shape,
        class_mm=np.zeros(()),
        resolution_mm=np.asarray(resolution_mm, dtype=np.float64) / np.sqrt(12.0),
        temperature_mm=np.zeros(()),
        handling_mm=np.zeros(()),
        level_mm=instrument * sight / LEVEL_REFERENCE_SIGHT_MM,
    )


def combine_repeats(
    check_index: npt.ArrayLike,
    n_checks: int,
    values_mm: npt.ArrayLike,
    parts: UncertaintyParts,
    common_mm: npt.ArrayLike | None = None,
) -> RepeatStatistics:
    """Combine the readings of each check.

    With n readings x_i of a check, r_i what belongs to each alone and l_ik their
    loadings on the errors k that several readings share [1]_::

        mean        = sum(x_i) / n
        u(mean)**2  = sum(r_i**2) / n**2 + sum_k (sum_i(l_ik) / n)**2

    so that neither the class of one tape nor the temperature of one day shrinks with n,
    while two tapes or two days average theirs.

    The spread is compared with the expanded uncertainty (k = 2) of a difference, which
    for a pair is 2 sqrt(r_1**2 + r_2**2 + sum_k (l_1k - l_2k)**2). For more readings
    the mean over all pairs is taken::

        spread_limit = max(2 * sqrt(mean over pairs), coarsest resolution)

    What a pair has in common cancels: two readings of one tape on one day at the same
    two marks differ by resolution and handling alone, those of two tapes by their
    classes too. The limit is never less than one step of the tape: two good readings
    may fall on either side of a mark.

    Parameters
    ----------
    check_index : array of int, shape (n,)
        Check of each reading, 0 to n_checks - 1, in any order. [1]
    n_checks : int
        Number of checks. [1]
    values_mm : array, shape (n,)
        Readings, corrections applied. [mm]
    parts : UncertaintyParts
        Their standard uncertainties, each member of shape (n,). [mm]
    common_mm : array, shape (n, n_common), optional
        Loadings of each reading on the common errors. By default all were read with
        one tape on one day. [mm]

    Returns
    -------
    RepeatStatistics
        One of each member per check. [mm]

    References
    ----------
    .. [1] JCGM 100:2008, *Guide to the expression of uncertainty in measurement*,
       4.2.3, 5.1.2 and, for terms common to all, 5.2.2.
    """
    index = np.asarray(check_index, dtype=np.intp)
    values = np.asarray(values_mm, dtype=np.float64)
    if common_mm is None:
        common_mm = np.stack([parts.class_mm, parts.temperature_mm], axis=1)
    loading = np.asarray(common_mm, dtype=np.float64)
    count = np.bincount(index, minlength=n_checks)
    if count.size > n_checks:
        raise ValueError(f"a reading belongs to check {index.max()} of {n_checks}")
    n = np.where(count > 0, count, np.nan)

    def total(weight: FloatArray) -> FloatArray:
        sums = np.bincount(index, weights=weight, minlength=n_checks)
        return sums.astype(np.float64)  # bincount returns integers without readings

    # Means are taken from a reading of each check: lengths are large, spreads small.
    first = np.zeros(n_checks)
    first[index] = values
    mean = first + total(values - first[index]) / n
    alone = total(parts.resolution_mm**2 + parts.handling_mm**2 + parts.level_mm**2)
    shared, scatter = _average_loadings(index, loading, count)
    independent = np.sqrt(alone) / n
    spread = _compute_spread(index, values, count)
    step = np.zeros(n_checks)
    np.maximum.at(step, index, parts.resolution_mm * np.sqrt(12.0))
    limit = np.maximum(2.0 * np.sqrt(2.0 * (alone / n + scatter)), step)
    return RepeatStatistics(
        mean_mm=mean,
        uncertainty_mm=np.sqrt(independent**2 + (shared**2).sum(axis=1)),
        independent_mm=independent,
        common_mm=shared,
        count=count,
        spread_mm=spread,
        spread_limit_mm=limit,
        # The unit a reading was typed in must not make a disagreement.
        disagree=spread > limit + 1e-6,
    )


def _average_loadings(
    index: IntArray, loading: FloatArray, count: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return each check's mean loadings, (n_checks, n_common), and their scatter.

    The scatter (n_checks,) is half the mean, over all pairs of the check's readings, of
    the squared difference of their loadings: their sample variance, summed.
    """
    n_checks = len(count)
    n = np.maximum(count, 1)[:, None]
    first = np.zeros((n_checks, loading.shape[1]))
    first[index] = loading
    mean = first.copy()
    if index.size == np.count_nonzero(count):
        return mean, np.zeros(n_checks)  # no repeats: nothing to average
    off = loading - first[index]
    np.add.at(mean, index, off / n[index])
    scatter = np.zeros(n_checks)
    squares = ((loading - mean[index]) ** 2).sum(axis=1)
    np.add.at(scatter, index, squares / np.maximum(count - 1, 1)[index])
    return mean, scatter


def _compute_spread(index: IntArray, values: FloatArray, count: IntArray) -> FloatArray:
    """Return the largest less the smallest value of each check; NaN without any."""
    largest = np.full(len(count), -np.inf)
    smallest = np.full(len(count), np.inf)
    np.maximum.at(largest, index, values)
    np.minimum.at(smallest, index, values)
    spread = np.full(len(count), np.nan)
    np.subtract(largest, smallest, out=spread, where=count > 0)
    return spread


def _combine_parts(
    shape: tuple[int, ...],
    *,
    class_mm: FloatArray,
    resolution_mm: FloatArray,
    temperature_mm: FloatArray,
    handling_mm: FloatArray,
    level_mm: FloatArray,
) -> UncertaintyParts:
    squares = class_mm**2 + resolution_mm**2 + temperature_mm**2
    squares = squares + handling_mm**2 + level_mm**2
    return UncertaintyParts(
        class_mm=np.broadcast_to(class_mm, shape),
        resolution_mm=np.broadcast_to(resolution_mm, shape),
        temperature_mm=np.broadcast_to(temperature_mm, shape),
        handling_mm=np.broadcast_to(handling_mm, shape),
        level_mm=np.broadcast_to(level_mm, shape),
        combined_mm=np.broadcast_to(np.sqrt(squares), shape),
    )
