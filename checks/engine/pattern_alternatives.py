"""Other places that gages allow for the rods of a pattern.

A gage is a circle about its other rod. Where one coordinate of a rod was read, or two
gages place it, there are two places for it, mirror images of each other::

    in ^
       | (2')--+--(2)    setback of 2 read: both ends of the chord have the gage from 1,
       |      (1)        mirrored across rod 1, or across the line through two rods

Least squares finds the one its start is nearest to; the other is found by starting
again from the mirror image.
"""

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray


def mirror_rods(
    rods_mm: FloatArray, unread: BoolArray, pattern: IntArray, slot: IntArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Mirror each rod that gages place, one at a time.

    Parameters
    ----------
    rods_mm : array, shape (patterns, slots, 2)
        A solution of each pattern. [mm]
    unread : array of bool, shape (patterns, slots, 2)
        True for coordinates that only gages determine.
    pattern : array of int, shape (g,)
        Pattern of each gage that was used.
    slot : array of int, shape (g, 2)
        Slots of its two rods.

    Returns
    -------
    row, rod : arrays of int, shape (a,)
        Pattern and slot of the rod that was mirrored.
    start : array, shape (a, slots, 2)
        Its pattern with the rod mirrored: a coordinate that was read stays. [mm]
    """
    centre, axis = _fit_partner_lines(rods_mm, pattern, slot)
    row, rod = np.nonzero((unread[..., 0] | unread[..., 1]) & ~np.isnan(centre[..., 0]))
    start = rods_mm[row].copy()
    each = np.arange(row.size)
    arm = start[each, rod] - centre[row, rod]
    along = axis[row, rod]
    # Both coordinates free: across the line through the rods it is measured from.
    across_line = 2.0 * (arm * along).sum(axis=1)[:, None] * along - arm
    free = unread[row, rod]
    both = (free[:, 0] & free[:, 1])[:, None]
    mirrored = np.where(both, across_line, np.where(free, -arm, arm))
    start[each, rod] = centre[row, rod] + mirrored
    return row, rod, start


def _fit_partner_lines(
    rods: FloatArray, pattern: IntArray, slot: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Fit a line to the rods that each rod has gages to.

    Returns
    -------
    centre, axis : arrays, shape (patterns, slots, 2)
        Their centroid, NaN for a rod without a gage, and the unit direction of the
        line. [mm, 1]
    """
    patterns, slots = rods.shape[:2]
    own = np.concatenate([slot[:, 0], slot[:, 1]])
    partner = np.concatenate([slot[:, 1], slot[:, 0]])
    which = np.concatenate([pattern, pattern])
    cell = which * slots + own
    points = rods[which, partner]
    count = np.bincount(cell, minlength=patterns * slots)
    centre = np.full((patterns * slots, 2), np.nan)
    for k in (0, 1):
        total = np.bincount(cell, points[:, k], minlength=count.size)
        np.divide(total, count, out=centre[:, k], where=count > 0)
    off = points - centre[cell]
    xx, yy, xy = (
        np.bincount(cell, values, minlength=count.size)
        for values in (off[:, 0] ** 2, off[:, 1] ** 2, off[:, 0] * off[:, 1])
    )
    angle = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    axis = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return centre.reshape(rods.shape), axis.reshape(rods.shape)
