"""Likely causes: mistakes people make with tape and level, held against residuals.

Every function answers one question about deviations (observed less planned): would
this mistake leave exactly these? A mistake explains a deviation when what is left
after taking it away is within `tolerance_mm`. The list of mistakes and their sizes
(a foot, an inch, the notch, half a rod) is common practice; that a group must agree
before it is named is ours, so that honest concrete is not accused.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray

FOOT_MM = 304.8
INCH_MM = 25.4
GRADE_ROD_LENGTHS_MM = np.array(
    [
        2000.0,
        3000.0,
        4000.0,
        5000.0,
        *(feet * FOOT_MM for feet in (8, 10, 12, 13, 14, 16, 20, 25)),
    ]
)
"""Lengths grade rods are sold in. [mm] Common practice."""


def clear_margin(tolerance_mm: npt.ArrayLike, amount_mm: npt.ArrayLike) -> FloatArray:
    """Give what may be left over of a mistake, so that it explains clearly. [mm]

    Parameters
    ----------
    tolerance_mm : array, shape (n,) or scalar
        What limit and uncertainty would leave over; wide over long lengths. [mm]
    amount_mm : array, shape (n,) or scalar
        Size of the mistake; a quarter of it is the most, which is ours. [mm]

    Returns
    -------
    array, shape (n,)
        The lesser of the two. [mm]
    """
    amount = np.abs(np.asarray(amount_mm, dtype=np.float64))
    return np.minimum(np.asarray(tolerance_mm, dtype=np.float64), amount / 4.0)


def find_misreadings(
    deviation_mm: npt.ArrayLike, tolerance_mm: npt.ArrayLike
) -> FloatArray:
    """Give the foot or inch that would explain each deviation, 0 where none does.

    Parameters
    ----------
    deviation_mm : array, shape (n,)
        Observed less planned, signed. [mm]
    tolerance_mm : array, shape (n,) or scalar
        What may be left over, but never more than a quarter of the mistake. [mm]

    Returns
    -------
    array, shape (n,)
        ±304.8, ±25.4 or 0. [mm]
    """
    deviation = np.asarray(deviation_mm, dtype=np.float64)
    size = np.abs(deviation)
    tolerance = np.broadcast_to(np.asarray(tolerance_mm, np.float64), size.shape)
    foot = np.abs(size - FOOT_MM) <= clear_margin(tolerance, FOOT_MM)
    inch = np.abs(size - INCH_MM) <= clear_margin(tolerance, INCH_MM)
    amount = np.where(foot, FOOT_MM, np.where(inch, INCH_MM, 0.0))
    return np.asarray(np.copysign(amount, deviation) * (amount > 0.0), np.float64)


def all_shifted_by(
    deviation_mm: npt.ArrayLike, amount_mm: float, tolerance_mm: npt.ArrayLike
) -> bool:
    """Tell whether every one of some deviations is this amount. [mm]

    Parameters
    ----------
    deviation_mm : array, shape (n,)
        Observed less planned. [mm]
    amount_mm : float
        Signed size of the mistake. [mm]
    tolerance_mm : array, shape (n,) or scalar
        What may be left over. [mm]
    """
    deviation = np.asarray(deviation_mm, dtype=np.float64)
    if deviation.size == 0:
        return False
    return bool(np.all(np.abs(deviation - amount_mm) <= tolerance_mm))


def find_common_offset(deviation_mm: npt.ArrayLike, tolerance_mm: float) -> float:
    """Give the amount some deviations share, NaN where they do not. [mm]

    Parameters
    ----------
    deviation_mm : array, shape (n,)
        Observed less planned. [mm]
    tolerance_mm : float
        How far each may be from their median. [mm]
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
    """Find pairs whose readings were written down the wrong way round.

    Parameters
    ----------
    nominal_mm, observed_mm : array, shape (n,)
        Planned and observed values that could be taken for each other. [mm]
    tolerance_mm : array, shape (n,) or scalar
        What may be left over once exchanged back. [mm]

    Returns
    -------
    array of int, shape (k, 2)
        Pairs of indices, the first the smaller; each index at most once.
    """
    nominal = np.asarray(nominal_mm, dtype=np.float64)
    observed = np.asarray(observed_mm, dtype=np.float64)
    limit = np.broadcast_to(np.asarray(tolerance_mm, np.float64), nominal.shape)
    crossed = np.abs(observed[:, None] - nominal[None, :]) <= limit[:, None]
    apart = np.abs(nominal[:, None] - nominal[None, :]) > 2.0 * limit[:, None]
    pairs = np.argwhere(np.triu(crossed & crossed.T & apart, 1))
    used: set[int] = set()
    kept = []
    for first, second in pairs.tolist():
        if not used & {first, second}:
            used |= {first, second}
            kept.append((first, second))
    return np.array(kept, dtype=np.intp).reshape(-1, 2)


WRONG_ORIENTATIONS = {
    "turned end for end": (-1.0, -1.0),
    "mirrored along the wall": (-1.0, 1.0),
    "mirrored in and out": (1.0, -1.0),
}
"""Signs of along and in for each wrong way round."""


def find_wrong_orientation(
    planned_mm: FloatArray, built_mm: FloatArray, tolerance_mm: float
) -> str | None:
    """Tell which way round a detail was set, None where it is as drawn or neither.

    Each way is tried about the reference line and about the pattern's own middle;
    rods are matched one to one by nearness, as a crew numbers them where they are.

    Parameters
    ----------
    planned_mm, built_mm : array, shape (n_rods, 2)
        Rod centres, along and in. [mm]
    tolerance_mm : float
        How far every rod may be from where that way round puts it. [mm]
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
    """Largest distance when each rod is matched to its nearest, one to one. [mm]"""
    apart = np.linalg.norm(planned[:, None] - built[None, :], axis=2)
    nearest = apart.argmin(axis=1)
    if np.unique(nearest).size < len(planned):
        return float("inf")
    return float(apart.min(axis=1).max())


def find_inverted_rods(
    reading_mm: npt.ArrayLike, expected_mm: npt.ArrayLike, tolerance_mm: float
) -> FloatArray:
    """Give the rod length that explains each reading as read upside down, else NaN.

    A rod standing on its head reads its length less what it should.

    Parameters
    ----------
    reading_mm, expected_mm : array, shape (n,)
        Grade-rod readings, and what the others of the set-up lead one to expect. [mm]
    tolerance_mm : float
        What may be left over. [mm]
    """
    reading = np.asarray(reading_mm, dtype=np.float64)
    expected = np.asarray(expected_mm, dtype=np.float64)
    total = reading + expected
    off = np.abs(total[:, None] - GRADE_ROD_LENGTHS_MM[None, :])
    best = off.argmin(axis=1)
    far = np.abs(reading - expected) > 4.0 * tolerance_mm
    good = (off[np.arange(total.size), best] <= tolerance_mm) & far
    return np.where(good, GRADE_ROD_LENGTHS_MM[best], np.nan)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupDisturbance:
    """A set-up that moved: from which of its readings on, and by how much.

    `reading` counts within the set-up, in the order taken; `shift_mm` is what the
    later readings are too large by.
    """

    setup: int
    reading: int
    shift_mm: float


def find_setup_disturbances(
    reading_mm: FloatArray, setup: IntArray, point: IntArray, tolerance_mm: float
) -> tuple[SetupDisturbance, ...]:
    """Find set-ups in which points read twice all changed by one amount.

    Every point read both before and after must have changed alike; the set-up is
    then taken to have moved where that leaves the points read once most level.

    Parameters
    ----------
    reading_mm : array, shape (n,)
        Grade-rod readings in the order taken. [mm]
    setup, point : array of int, shape (n,)
        Set-up and point of each.
    tolerance_mm : float
        Changes up to this are ordinary. [mm]
    """
    found = []
    for one in np.unique(setup):
        here = np.flatnonzero(setup == one)
        points = point[here]
        first_of: dict[int, int] = {}
        again = [
            (first_of[p], k)
            for k, p in enumerate(points.tolist())
            if first_of.setdefault(p, k) < k
        ]
        if not again:
            continue
        change = np.array(
            [
                reading_mm[here[later]] - reading_mm[here[first]]
                for first, later in again
            ]
        )
        moved = np.abs(change) > tolerance_mm
        if not moved.any():
            continue
        shift = find_common_offset(change[moved], tolerance_mm)
        since = min(later for (_, later), yes in zip(again, moved, strict=True) if yes)
        steady_after = any(
            later >= since
            for (_, later), yes in zip(again, moved, strict=True)
            if not yes
        )
        if shift == shift and not steady_after:
            first = min(
                first for (first, later), yes in zip(again, moved, strict=True) if yes
            )
            once = np.isin(points, points[[k for pair in again for k in pair]])
            place = locate_disturbance(reading_mm[here], ~once, shift, first + 1, since)
            found.append(
                SetupDisturbance(setup=int(one), reading=place, shift_mm=shift)
            )
    return tuple(found)


def locate_disturbance(
    reading_mm: FloatArray, once: BoolArray, shift_mm: float, first: int, last: int
) -> int:
    """Find the reading before which a set-up moved: pads are much alike. [mm]

    Parameters
    ----------
    reading_mm : array, shape (n,)
        Readings of one set-up in the order taken. [mm]
    once : array of bool, shape (n,)
        Which are of points read only once.
    shift_mm : float
        What the readings after the move are too large by. [mm]
    first, last : int
        The earliest and the latest reading it may have moved before.

    Returns
    -------
    int : where the readings, the shift taken off again, spread least about their
        median; `last` where fewer than three points were read once.
    """
    if np.count_nonzero(once) < 3:
        return last
    order = np.arange(reading_mm.size)
    tried = np.arange(first, last + 1)
    level = reading_mm - shift_mm * (order >= tried[:, None])
    level = level[:, once]
    spread = np.abs(level - np.median(level, axis=1, keepdims=True)).sum(axis=1)
    return int(tried[spread.argmin()])


def find_offset_setup(
    height_mm: FloatArray, setup: IntArray, tolerance_mm: float, min_points: int = 3
) -> tuple[int, float] | None:
    """Find the one set-up all of whose points lie off the others' by one amount.

    Parameters
    ----------
    height_mm : array, shape (n,)
        Heights of pads. [mm]
    setup : array of int, shape (n,)
        The set-up each was read from.
    tolerance_mm : float
        Scatter within a set-up that is ordinary; the step must be over twice it.
    least : int
        Points each set-up needs before anything is said. [1]

    Returns
    -------
    (set-up, step) or None
        The smaller of the two groups, and how much higher it lies than the rest. [mm]
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
    for name in names[np.argsort(counts, kind="stable")].tolist():
        others = [value for other, value in level.items() if other != name]
        rest = find_common_offset(others, tolerance_mm)
        if rest == rest and abs(level[name] - rest) > 2.0 * tolerance_mm:
            return name, level[name] - rest
    return None


def estimate_errors(residual_mm: FloatArray, redundancy: FloatArray) -> FloatArray:
    """Give the error each length alone would need to have, NaN where unchecked.

    -v / r, with v adjusted less observed and r the redundancy number: W. Baarda,
    *A testing procedure for use in geodetic networks* (1968).

    Parameters
    ----------
    residual_mm, redundancy : array, shape (n,)
        Residuals of an adjustment and their redundancy numbers. [mm, 1]
    """
    safe: BoolArray = redundancy > 1e-6
    return np.where(safe, -residual_mm / np.where(safe, redundancy, 1.0), np.nan)
