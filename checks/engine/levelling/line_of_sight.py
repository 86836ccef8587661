"""The line of sight of a level: collimation, curvature and refraction.

A collimation error c raises the line of sight by c*d at the distance d, and the
earth's curvature less refraction raises a reading by 0.0673 d**2 m (d in km) [1]_,
[2]_.

References
----------
.. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., chapter 12 (level nets).
.. [2] Curvature 0.0785 K**2 m less refraction of a seventh: course notes on
   levelling, seen second-hand; recomputed with an earth radius of 6371 km.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.errors import EngineError

CURVATURE_AND_REFRACTION = 0.0673e-9
"""Rise of a reading over the square of the sight. [1/mm] 0.0673 m per km**2."""

IMBALANCE_MM = 60_000.0
"""Difference of sights in a set-up beyond which curvature is corrected. [mm]"""


def compute_sight_corrections(
    sight_mm: npt.ArrayLike | None,
    setup: npt.ArrayLike,
    collimation_rad: npt.ArrayLike | None = None,
    size: int = 0,
) -> FloatArray:
    """Compute the correction of each reading for the line of sight.

    -c*d for collimation, and -0.0673 d**2 m (d in km) for curvature and refraction
    in a set-up whose longest and shortest sight differ by more than 60 m. With sights
    of equal length the latter cancels, and within 60 m it stays under 0.25 mm.

    Parameters
    ----------
    sight_mm : array, shape (n,), or None
        Distance from level to rod; NaN where unknown. [mm]
    setup : array of int, shape (n,)
        Set-up of each reading, from 0.
    collimation_rad : array, shape (n,), or scalar, optional
        Collimation error, line of sight up positive. [rad]
    size : int
        Number of readings, where no sights are given.

    Returns
    -------
    array, shape (n,)
        To be added to the readings; zero where a set-up's sights are not all known.
        [mm]
    """
    s = np.asarray(setup, dtype=np.intp)
    if sight_mm is None or not s.size:
        return np.zeros(size or s.size)
    d = np.asarray(sight_mm, dtype=float)
    m = int(s.max()) + 1
    longest, shortest = np.full(m, -np.inf), np.full(m, np.inf)
    with np.errstate(invalid="ignore"):
        np.maximum.at(longest, s, d)  # NaN stays NaN: the set-up is not corrected
        np.minimum.at(shortest, s, d)
        known = np.isfinite(longest)[s]
        curved = (longest - shortest > IMBALANCE_MM)[s]
    c = np.nan_to_num(np.asarray(0.0 if collimation_rad is None else collimation_rad))
    lift = c * d + np.where(curved, CURVATURE_AND_REFRACTION * d**2, 0.0)
    return np.where(known, -lift, 0.0)


def compute_collimation(
    near_mm: npt.ArrayLike,
    far_mm: npt.ArrayLike,
    near_sight_mm: npt.ArrayLike,
    far_sight_mm: npt.ArrayLike,
    true_difference_mm: npt.ArrayLike,
) -> FloatArray:
    """Compute a level's collimation error from a two-peg test.

    c = (apparent - true) / (d_far - d_near), the apparent difference being the far
    reading less the near one [1]_. The true difference, far less near, comes from
    readings with the level midway between the pegs.

    Parameters
    ----------
    near_mm, far_mm : arrays, any shape
        Readings on the nearer and the farther peg. [mm]
    near_sight_mm, far_sight_mm : arrays, same shape
        Sight distances to them. [mm]
    true_difference_mm : array, same shape
        Far less near, read with sights of equal length. [mm]

    Returns
    -------
    array, same shape
        Collimation error, line of sight up positive. [rad]

    Raises
    ------
    EngineError
        If the far sight is not longer than the near one.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, *Elementary Surveying*, two-peg test (from
       memory; recomputed from published examples).
    """
    reach = np.asarray(far_sight_mm, dtype=float) - np.asarray(near_sight_mm)
    if not np.all(reach > 0):
        raise EngineError(
            "In a two-peg test the far sight must be longer than the near one."
        )
    apparent = np.asarray(far_mm, dtype=float) - np.asarray(near_mm, dtype=float)
    error: FloatArray = (apparent - np.asarray(true_difference_mm, dtype=float)) / reach
    return error
