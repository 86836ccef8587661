"""Likely causes: common measuring mistakes, compared with deviations.

Every function answers one question about deviations (observed less planned): would
this mistake leave exactly these? A mistake explains a deviation when the remainder
after removing it is within `tolerance_mm`. The list of mistakes and their sizes (a
foot, an inch, the notch, half a rod) is common practice. That a whole group must agree
before a mistake is named is a project choice: concrete that is really out of place
must not be blamed on the crew.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.constants import FOOT_MM, INCH_MM

GRADE_ROD_LENGTHS_MM = np.array(
    [
        2000.0,
        3000.0,
        4000.0,
        5000.0,
        *(feet * FOOT_MM for feet in (8, 10, 12, 13, 14, 16, 20, 25)),
    ]
)
"""Lengths in which grade rods are sold. [mm] Common practice."""


def clear_margin(tolerance_mm: npt.ArrayLike, amount_mm: npt.ArrayLike) -> FloatArray:
    """Limit the remainder with which a mistake still explains a deviation clearly.

    Parameters
    ----------
    tolerance_mm : array, shape (n,) or scalar
        Remainder that limit and uncertainty allow; wide over long lengths. [mm]
    amount_mm : array, shape (n,) or scalar
        Size of the mistake. At most a quarter of it may remain, a project choice.
        [mm]

    Returns
    -------
    array, shape (n,)
        The lesser of the two. [mm]
    """
    amount = np.abs(np.asarray(amount_mm, dtype=np.float64))
    return np.minimum(np.asarray(tolerance_mm, dtype=np.float64), amount / 4.0)


def find_misread_amounts(
    deviation_mm: npt.ArrayLike, tolerance_mm: npt.ArrayLike
) -> FloatArray:
    """Find deviations that a misread foot or inch would explain.

    Parameters
    ----------
    deviation_mm : array, shape (n,)
        Observed less planned, signed. [mm]
    tolerance_mm : array, shape (n,) or scalar
        Largest remainder, never more than a quarter of the mistake. [mm]

    Returns
    -------
    array, shape (n,)
        ±304.8, ±25.4, or 0 where neither explains the deviation. [mm]
    """
    deviation = np.asarray(deviation_mm, dtype=np.float64)
    size = np.abs(deviation)
    tolerance = np.broadcast_to(np.asarray(tolerance_mm, np.float64), size.shape)
    foot = np.abs(size - FOOT_MM) <= clear_margin(tolerance, FOOT_MM)
    inch = np.abs(size - INCH_MM) <= clear_margin(tolerance, INCH_MM)
    amount = np.where(foot, FOOT_MM, np.where(inch, INCH_MM, 0.0))
    return np.asarray(np.copysign(amount, deviation) * (amount > 0.0), np.float64)


def find_common_offset(deviation_mm: npt.ArrayLike, tolerance_mm: float) -> float:
    """Find the offset common to all deviations; NaN where there is none. [mm]

    Parameters
    ----------
    deviation_mm : array, shape (n,)
        Observed less planned. [mm]
    tolerance_mm : float
        Largest distance of any deviation from their median. [mm]
    """
    deviation = np.asarray(deviation_mm, dtype=np.float64)
    if deviation.size == 0:
        return float("nan")
    middle = float(np.median(deviation))
    shared = np.all(np.abs(deviation - middle) <= tolerance_mm)
    return middle if shared else float("nan")


def find_swapped_pairs(
    nominal_mm: npt.ArrayLike, observed_mm: npt.ArrayLike, tolerance_mm: npt.ArrayLike
) -> IntArray:
    """Find pairs whose readings were written down in each other's place.

    Parameters
    ----------
    nominal_mm, observed_mm : array, shape (n,)
        Planned and observed values that could be confused with each other. [mm]
    tolerance_mm : array, shape (n,) or scalar
        Largest remainder after swapping them back. [mm]

    Returns
    -------
    array of int, shape (k, 2)
        Pairs of indices, the first the smaller; each index at most once.
    """
    nominal = np.asarray(nominal_mm, dtype=np.float64)
    observed = np.asarray(observed_mm, dtype=np.float64)
    limit = np.broadcast_to(np.asarray(tolerance_mm, np.float64), nominal.shape)
    crossed = np.abs(observed[:, None] - nominal[None, :]) <= limit[:, None]
    differ = np.abs(nominal[:, None] - nominal[None, :]) > 2.0 * limit[:, None]
    # Lengths nearly equal on the plan would read alike, swapped or not: excluded.
    pairs = np.argwhere(np.triu(crossed & crossed.T & differ, 1))
    used: set[int] = set()
    chosen = []
    for first, second in pairs.tolist():
        if not used & {first, second}:
            used |= {first, second}
            chosen.append((first, second))
    return np.array(chosen, dtype=np.intp).reshape(-1, 2)


WRONG_ORIENTATIONS = {
    "turned end for end": (-1.0, -1.0),
    "mirrored along the wall": (-1.0, 1.0),
    "mirrored in and out": (1.0, -1.0),
}
"""Signs of along and in for each wrong orientation of a detail."""


def find_wrong_orientation(
    planned_mm: FloatArray, built_mm: FloatArray, tolerance_mm: float
) -> str | None:
    """Find the wrong orientation that explains how a detail was built.

    Each orientation is tried about the reference line and about the pattern's own
    middle. Rods are matched one to one by distance, because a crew numbers rods by
    where they stand, not by how the detail was meant.

    Parameters
    ----------
    planned_mm, built_mm : array, shape (n_rods, 2)
        Rod centres, along and in. [mm]
    tolerance_mm : float
        Largest distance of any rod from its place in that orientation. [mm]

    Returns
    -------
    str or None
        A key of `WRONG_ORIENTATIONS`; None where the detail is as drawn, or no
        orientation explains it.
    """
    if (
        len(planned_mm) < 2
        or _match_distance(planned_mm, built_mm) <= 2.0 * tolerance_mm
    ):
        return None
    middle = (planned_mm.max(axis=0) + planned_mm.min(axis=0)) / 2.0
    on_line = np.array([0.0, middle[1]])
    for name, signs in WRONG_ORIENTATIONS.items():
        for centre in (on_line, middle):
            tried = centre + (planned_mm - centre) * np.array(signs)
            if _match_distance(tried, built_mm) <= tolerance_mm:
                return name
    return None


def _match_distance(planned: FloatArray, built: FloatArray) -> float:
    """Match each rod to its nearest, one to one; return the largest distance. [mm]"""
    distances = np.linalg.norm(planned[:, None] - built[None, :], axis=2)
    nearest = distances.argmin(axis=1)
    if np.unique(nearest).size < len(planned):
        return float("inf")
    return float(distances.min(axis=1).max())


def find_inverted_rods(
    reading_mm: npt.ArrayLike, expected_mm: npt.ArrayLike, tolerance_mm: float
) -> FloatArray:
    """Find readings of a grade rod that was held upside down.

    An inverted rod of length L reads L less the true reading.

    Parameters
    ----------
    reading_mm, expected_mm : array, shape (n,)
        Grade-rod readings, and the values expected from the rest of the set-up. [mm]
    tolerance_mm : float
        Largest remainder. [mm]

    Returns
    -------
    array, shape (n,)
        Length of the rod that explains each reading, NaN where none does. [mm]
    """
    reading = np.asarray(reading_mm, dtype=np.float64)
    expected = np.asarray(expected_mm, dtype=np.float64)
    sums = reading + expected
    errors = np.abs(sums[:, None] - GRADE_ROD_LENGTHS_MM[None, :])
    best = errors.argmin(axis=1)
    far_off = np.abs(reading - expected) > 4.0 * tolerance_mm
    good = (errors[np.arange(sums.size), best] <= tolerance_mm) & far_off
    return np.where(good, GRADE_ROD_LENGTHS_MM[best], np.nan)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupDisturbance:
    """A set-up that was disturbed, the first reading after it, and the step.

    `reading` counts within the set-up, in the order taken. `shift_mm` is the excess of
    the later readings.
    """

    setup: int
    reading: int
    shift_mm: float


def find_setup_disturbances(
    reading_mm: FloatArray, setup: IntArray, point: IntArray, tolerance_mm: float
) -> tuple[SetupDisturbance, ...]:
    """Find set-ups in which all points read twice changed by one amount.

    Every point read both before and after must have changed by the same step. The
    disturbance is then placed where it leaves the points read once most level.

    Parameters
    ----------
    reading_mm : array, shape (n,)
        Grade-rod readings in the order taken. [mm]
    setup, point : array of int, shape (n,)
        Set-up and point of each.
    tolerance_mm : float
        Changes up to this are ordinary. [mm]
    """
    disturbances = []
    for setup_id in np.unique(setup):
        here = np.flatnonzero(setup == setup_id)
        step = _find_step(reading_mm[here], point[here], tolerance_mm)
        if step is not None:
            reading, shift = step
            disturbances.append(
                SetupDisturbance(setup=int(setup_id), reading=reading, shift_mm=shift)
            )
    return tuple(disturbances)


def _find_step(
    reading_mm: FloatArray, point: IntArray, tolerance_mm: float
) -> tuple[int, float] | None:
    """Find the first reading after a disturbance of one set-up, and the step. [mm]"""
    first_of: dict[int, int] = {}
    pairs = [
        (first_of[p], k)
        for k, p in enumerate(point.tolist())
        if first_of.setdefault(p, k) < k
    ]
    if not pairs:
        return None
    first, later = np.array(pairs, dtype=np.intp).T
    change = reading_mm[later] - reading_mm[first]
    moved = np.abs(change) > tolerance_mm
    if not moved.any():
        return None
    shift = find_common_offset(change[moved], tolerance_mm)
    latest = later[moved].min()
    # A point that reads as before, after others changed, rules a disturbance out.
    if shift != shift or (later[~moved] >= latest).any():
        return None
    read_twice = np.isin(point, point[[k for pair in pairs for k in pair]])
    earliest = int(first[moved].min()) + 1
    reading = locate_disturbance(reading_mm, ~read_twice, shift, earliest, int(latest))
    return reading, shift


def locate_disturbance(
    reading_mm: FloatArray,
    read_once: BoolArray,
    shift_mm: float,
    first: int,
    last: int,
) -> int:
    """Find the reading before which a set-up was disturbed.

    Pads are nearly level, so the right place is the one that leaves the readings,
    once the step is taken off, with the least spread about their median.

    Parameters
    ----------
    reading_mm : array, shape (n,)
        Readings of one set-up in the order taken. [mm]
    read_once : array of bool, shape (n,)
        True for points read only once.
    shift_mm : float
        Excess of the readings after the disturbance. [mm]
    first, last : int
        Earliest and latest reading it may have happened before.

    Returns
    -------
    int
        Index of the reading; `last` where fewer than three points were read once.
    """
    # Fewer points are level about their median wherever the step is placed.
    if np.count_nonzero(read_once) < 3:
        return last
    order = np.arange(reading_mm.size)
    tried = np.arange(first, last + 1)
    level = reading_mm - shift_mm * (order >= tried[:, None])
    level = level[:, read_once]
    spread = np.abs(level - np.median(level, axis=1, keepdims=True)).sum(axis=1)
    return int(tried[spread.argmin()])


def find_offset_setup(
    height_mm: FloatArray, setup: IntArray, tolerance_mm: float, min_points: int = 3
) -> tuple[int, float] | None:
    """Find the one set-up whose points are all off the others by one amount.

    Parameters
    ----------
    height_mm : array, shape (n,)
        Heights of pads. [mm]
    setup : array of int, shape (n,)
        The set-up each was read from.
    tolerance_mm : float
        Scatter within a set-up that is ordinary; the step must be over twice it.
    least : int
        Points each set-up needs before any is named. [1]

    Returns
    -------
    (set-up, step) or None
        The set-up with fewer points, and its height above the rest. [mm]
    """
    names, counts = np.unique(setup, return_counts=True)
    if names.size < 2 or counts.min() < min_points:
        return None
    level = {
        int(name): find_common_offset(height_mm[setup == name], tolerance_mm)
        for name in names
    }
    if any(value != value for value in level.values()):
        return None
    # The smaller set-up is suspected first: one disturbance is likelier than several.
    for name in names[np.argsort(counts, kind="stable")].tolist():
        others = [value for other, value in level.items() if other != name]
        rest = find_common_offset(others, tolerance_mm)
        if rest == rest and abs(level[name] - rest) > 2.0 * tolerance_mm:
            return name, level[name] - rest
    return None


def estimate_errors(residual_mm: FloatArray, redundancy: FloatArray) -> FloatArray:
    """Estimate the error of each length, if it alone were wrong.

    -v / r, with v adjusted less observed and r the redundancy number: W. Baarda,
    *A testing procedure for use in geodetic networks* (1968). NaN where no other
    reading checks the length.

    Parameters
    ----------
    residual_mm, redundancy : array, shape (n,)
        Residuals of an adjustment and their redundancy numbers. [mm, 1]
    """
    # Below this a residual is mostly rounding, and its quotient means nothing.
    safe: BoolArray = redundancy > 1e-6
    return np.where(safe, -residual_mm / np.where(safe, redundancy, 1.0), np.nan)
