"""Corner moves that square an outline up: which corner, along which wall, how far."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.errors import DegenerateGeometryError
from checks.engine.outline import reduce_to_centroid, reject_degenerate_plans


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerMoves:
    """Moves that bring the corners to the plan's angles, one wall kept.

    A corner moves along the one of its walls that is most nearly parallel to the kept
    wall.
    """

    kept: tuple[int, int]  # corners of the wall that stays
    corner: IntArray  # (k,) every corner but those two, in order
    wall: IntArray  # (k,) first corner of the wall it is moved along
    move_mm: FloatArray  # (k,) positive towards the wall's second corner
    shift_mm: FloatArray  # (k, 2) the same on the plan's axes


def find_corner_moves(
    plan_mm: npt.ArrayLike, corners_mm: npt.ArrayLike, keep: int | None = None
) -> CornerMoves:
    """Find which corners to move, along which wall, and how far, to square up.

    One wall is kept where it is, e its direction. Each other corner c has a target T:
    its position on the plan relative to an end of the kept wall, rotated with that
    wall. It moves along the direction d of its wall onto a line through the target,
    with u square to the line (plane geometry)::

        move = ((T - c) . u) / (d . u)

    A corner next to the kept wall moves onto the line its side has on the plan. The
    side then stands at the plan's angle; its length, which squaring up does not cure,
    has no effect. Every corner further off, taken from the nearer end, moves abreast of
    its target, with u = e: a length square to the kept wall has no effect there, one
    along it has.

    Parameters
    ----------
    plan_mm : array, shape (n, 2)
        Planned corners. [mm]
    corners_mm : array, shape (n, 2)
        Adjusted ones. [mm]
    keep : int, optional
        First corner of the wall to keep. Default: the longest wall of the plan, the
        first among equals. [1]

    Returns
    -------
    SquareUp
        A move for each corner off the kept wall. Where neither of its walls is within
        60 degrees of the kept one, it moves parallel to that. [mm]

    Raises
    ------
    DegenerateGeometryError
        If corners of the plan or of the kept wall coincide, or a corner is NaN.
    """
    plan = np.asarray(plan_mm, dtype=np.float64)
    corners = np.asarray(corners_mm, dtype=np.float64)
    reject_degenerate_plans(plan[None], reduce_to_centroid(plan[None])[1])
    n = len(plan)
    walls = np.roll(plan, -1, axis=0) - plan
    lengths = np.hypot(walls[:, 0], walls[:, 1])
    first = int(np.argmax(lengths >= lengths.max() - 1e-6)) if keep is None else keep
    second = (first + 1) % n
    planned = walls[first] / lengths[first]
    built = corners[second] - corners[first]
    size = float(np.hypot(*built))
    if not np.isfinite(corners).all() or size == 0.0:
        raise DegenerateGeometryError("the adjusted outline is not determined")
    e = built / size

    movable = np.array([k for k in range(n) if k not in (first, second)], dtype=np.intp)
    nearer = (plan[movable] - plan[first]) @ planned <= 0.5 * lengths[first]
    end = np.where(nearer, first, second)
    wall, direction = _choose_walls(corners, movable, e, first)
    line = np.broadcast_to(e, direction.shape).copy()
    if n > 3:  # a triangle's one free corner has both its sides at the kept wall
        beside = np.searchsorted(movable, [(second + 1) % n, (first - 1) % n])
        end[beside] = second, first
        side = _rotate_to_wall(plan[movable[beside]] - plan[end[beside]], planned, e)
        line[beside] = _normals_to(side, direction[beside], e)
    place = corners[end] + _rotate_to_wall(plan[movable] - plan[end], planned, e)
    missing_mm = ((place - corners[movable]) * line).sum(axis=1)
    move = missing_mm / (direction * line).sum(axis=1)
    return CornerMoves(
        kept=(first, second),
        corner=movable,
        wall=wall,
        move_mm=move,
        shift_mm=move[:, None] * direction,
    )


def _rotate_to_wall(
    steps: FloatArray, planned: FloatArray, e: FloatArray
) -> FloatArray:
    """Rotate steps on the plan so that `planned` points along e, both of length 1."""
    along = steps @ planned
    inward = planned[0] * steps[:, 1] - planned[1] * steps[:, 0]
    square = np.array([-e[1], e[0]])
    return np.asarray(along[:, None] * e + inward[:, None] * square)


def _normals_to(side: FloatArray, direction: FloatArray, e: FloatArray) -> FloatArray:
    """Return normals to the sides; e where a corner would move along its side.

    Along its own side a corner would have to move very far to meet the line.
    """
    square = np.stack([side[:, 1], -side[:, 0]], axis=1)
    square = square / np.hypot(side[:, 0], side[:, 1])[:, None]
    across = np.abs((square * direction).sum(axis=1)) >= 0.5
    return np.where(across[:, None], square, e)


def _choose_walls(
    corners: FloatArray, movable: IntArray, e: FloatArray, kept: int
) -> tuple[IntArray, FloatArray]:
    """Choose the wall of each corner most nearly along e; return its direction too."""
    candidates = np.stack([(movable - 1) % len(corners), movable], axis=1)
    directions = corners[(candidates + 1) % len(corners)] - corners[candidates]
    directions = (
        directions / np.hypot(directions[..., 0], directions[..., 1])[..., None]
    )
    alignment = np.abs(directions @ e)
    best = alignment.argmax(axis=1)
    each = np.arange(len(movable))
    too_oblique = alignment[each, best] < 0.5
    wall = np.where(too_oblique, kept, candidates[each, best])
    return wall, np.where(too_oblique[:, None], e, directions[each, best])
