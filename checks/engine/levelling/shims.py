"""Shim stacks: the plates that bring a low pad nearest to the highest one.

Of all sums of the given thicknesses, each used any number of times and at least one
plate in all, a stack is the sum nearest to the shortfall, the thinner of two equally
near. For that sum the fewest plates are taken, and of equally few the thicker plates
first. Everything is counted in whole millionths of a millimetre, in which every
sixty-fourth of an inch is exact. The fewest plates for every sum come from dynamic
programming over the sums, in steps of the thicknesses' greatest common divisor::

    fewest[t] = min over thicknesses c of fewest[t - c] + 1,   fewest[0] = 0

which for one thickness is a running minimum along each row of equal remainders.
The rule is common practice. How a stack is held or grouted is outside this module.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.errors import EngineError

STEPS_PER_MM = 1_000_000
"""Whole steps per millimetre. [1/mm]"""

MAX_SUMS = 16_000_000
"""Largest number of sums listed; beyond it thicknesses are rounded to 0.001 mm."""

MAX_STACK_PLATES = 1000
"""Largest number of plates in a stack. Project choice."""

# Larger than any count, and still far from overflowing when plates are added.
_UNREACHABLE = np.int32(2**30)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShimStacks:
    """One stack for each shortfall, and its residual."""

    total_mm: FloatArray  # (n,) thickness of the stack; NaN where not reachable
    counts: IntArray  # (n, k) plates of each thickness, in the order given
    residual_mm: FloatArray  # (n,) stack less shortfall, positive above the high pad
    reachable: (
        BoolArray  # (n,) False without plates, or with more than MAX_STACK_PLATES
    )


def find_shim_stacks(
    shortfall_mm: npt.ArrayLike, thicknesses_mm: npt.ArrayLike
) -> ShimStacks:
    """Find the stack for each shortfall.

    Parameters
    ----------
    shortfall_mm : array, shape (n,)
        Depth of each pad below the highest, not negative; NaN where unknown. Rounded
        to the nearest millionth of a millimetre. [mm]
    thicknesses_mm : array, shape (k,)
        Thicknesses on hand, in any order. [mm]

    Returns
    -------
    ShimStacks

    Raises
    ------
    EngineError
        If a thickness is not positive or a shortfall is negative.
    """
    shortfall = np.atleast_1d(np.asarray(shortfall_mm, dtype=float))
    plates = np.rint(np.asarray(thicknesses_mm, dtype=float) * STEPS_PER_MM).astype(
        np.int64
    )
    if np.any(plates <= 0):
        raise EngineError("Every shim thickness must be more than zero.")
    if np.any(shortfall < 0):
        raise EngineError("A shim cannot fill a negative shortfall.")
    reachable = np.isfinite(shortfall) & (plates.size > 0)
    coarse = _coarsen_thicknesses(shortfall[reachable], plates)
    if coarse is None:
        reachable[:] = False
    counts = np.zeros((shortfall.size, plates.size), dtype=np.intp)
    total = np.full(shortfall.size, np.nan)
    if coarse is not None and reachable.any():
        wanted = np.rint(shortfall[reachable] * STEPS_PER_MM).astype(np.int64)
        step = int(np.gcd.reduce(coarse))
        size = int(wanted.max() + coarse.min()) // step + 1
        fewest = _fewest_plates(coarse // step, size)
        chosen = _nearest_sums(wanted, fewest, step)
        few = fewest[chosen] <= MAX_STACK_PLATES
        reachable[reachable] = few
        counts[reachable] = _pick_plates(chosen[few], coarse // step, fewest)
        total[reachable] = counts[reachable] @ plates / STEPS_PER_MM
    return ShimStacks(
        total_mm=total,
        counts=counts,
        residual_mm=total - shortfall,
        reachable=reachable,
    )


def _coarsen_thicknesses(
    shortfall: FloatArray, plates: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64] | None:
    """Return thicknesses whose sums can be listed: exact, or rounded to 0.001 mm.

    Odd decimals have a tiny common divisor and so very many sums. None where even the
    rounded ones are too many, for a shortfall that nobody shims.
    """
    if not plates.size or not shortfall.size:
        return plates
    for unit in (1, STEPS_PER_MM // 1000):
        rounded = np.maximum(np.rint(plates / unit), 1).astype(np.int64) * unit
        most = shortfall.max() * STEPS_PER_MM + rounded.min()
        if most / int(np.gcd.reduce(rounded)) < MAX_SUMS:
            return rounded
    return None


def count_pack_list(counts: npt.ArrayLike) -> IntArray:
    """Count the plates of all stacks by thickness.

    Parameters
    ----------
    counts : array of int, shape (n, k)
        Plates of each thickness in each stack.

    Returns
    -------
    array of int, shape (k,)
        Plates of each thickness for the whole building.
    """
    total: IntArray = np.asarray(counts, dtype=np.intp).sum(axis=0)
    return total


def _fewest_plates(plates: npt.NDArray[np.int64], size: int) -> npt.NDArray[np.int32]:
    """Count the fewest plates for every sum from 0, in steps, shape (size,)."""
    fewest = np.full(size, _UNREACHABLE, dtype=np.int32)
    fewest[0] = 0
    for plate in np.unique(plates):
        if plate >= size:
            continue
        rows = -(-size // plate)
        padded = np.full(rows * plate, _UNREACHABLE, dtype=np.int32)
        padded[:size] = fewest
        table = padded.reshape(rows, plate)
        # Down a column each row is one plate more: with the row subtracted, the running
        # minimum compares all numbers of this plate at once.
        row = np.arange(rows, dtype=np.int32)[:, None]
        table -= row
        np.minimum.accumulate(table, axis=0, out=table)
        table += row
        fewest = padded[:size]
    fewest[fewest > size] = _UNREACHABLE
    return fewest


def _nearest_sums(
    wanted: npt.NDArray[np.int64], fewest: npt.NDArray[np.int32], step: int
) -> npt.NDArray[np.int64]:
    """Find the sum nearest to each wanted one, in steps, the smaller of two."""
    sums = np.flatnonzero(fewest < _UNREACHABLE)[1:]  # a stack has one plate or more
    above = np.minimum(np.searchsorted(sums * step, wanted), sums.size - 1)
    below = np.maximum(above - 1, 0)
    over = np.abs(sums[above] * step - wanted)
    under = np.abs(wanted - sums[below] * step)
    return np.where(under <= over, sums[below], sums[above])


def _pick_plates(
    chosen: npt.NDArray[np.int64],
    plates: npt.NDArray[np.int64],
    fewest: npt.NDArray[np.int32],
) -> IntArray:
    """Split sums into plates, the thickest first, never using one plate too many."""
    counts = np.zeros((chosen.size, plates.size), dtype=np.intp)
    order = np.argsort(-plates, kind="stable")
    left = chosen.copy()
    while np.any(left > 0):
        undecided = left > 0
        for column in order:
            rest = left - plates[column]
            fits = undecided & (rest >= 0)
            fits[fits] = fewest[rest[fits]] == fewest[left[fits]] - 1
            counts[fits, column] += 1
            left = np.where(fits, rest, left)
            undecided &= ~fits
    return counts
