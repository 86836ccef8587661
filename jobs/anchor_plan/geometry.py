"""Geometry of the plan: walls, positions and rods on plan axes.

Plan axes are x right, y up, in mm. A wall's *along* axis runs from its first to its
second corner and *in* points to the left of that, into the building, because the
outline runs counter-clockwise::

        in ^
           |   o rod (along, in)
    A -----+----------> along ----- B
        position
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jobs.anchor_plan.values import Corner, Detail, Plan, Position

FloatArray = NDArray[np.float64]


class PlanError(ValueError):
    """A corner, wall or position that the plan does not have."""


@dataclass(frozen=True, slots=True, eq=False)
class LocalAxes:
    """A local pair of axes on the plan.

    Attributes
    ----------
    origin : shape (2,), on plan axes. [mm]
    along, inward : unit vectors on plan axes, `inward` 90° counter-clockwise of
        `along`.
    """

    origin: FloatArray
    along: FloatArray
    inward: FloatArray


def get_corner(plan: Plan, name: str) -> Corner:
    """Find a corner of the outline by its name."""
    for each in plan.outline:
        if each.name == name:
            return each
    names = ", ".join(each.name for each in plan.outline)
    raise PlanError(f"There is no corner {name!r}; the corners are {names}.")


def get_position(plan: Plan, mark: str) -> Position:
    """Find a position by its mark."""
    for each in plan.positions:
        if each.mark == mark:
            return each
    raise PlanError(f"There is no position {mark!r} on the plan.")


def get_detail(plan: Plan, position: Position) -> Detail:
    """Return the rod pattern and plate of a position."""
    return plan.details[position.detail]


def list_walls(plan: Plan) -> tuple[tuple[str, str], ...]:
    """List the walls by their corners, in the order of the outline."""
    names = [each.name for each in plan.outline]
    return tuple(zip(names, [*names[1:], names[0]], strict=True))


def outline_points(plan: Plan) -> FloatArray:
    """Return the corners of the steel line, shape (n, 2), plan axes [mm]."""
    return np.array([(each.x, each.y) for each in plan.outline], dtype=np.float64)


def _wall_ends(plan: Plan, wall: tuple[str, str]) -> tuple[FloatArray, FloatArray]:
    first, second = (get_corner(plan, name) for name in wall)
    if wall not in list_walls(plan):
        named = ", ".join("-".join(each) for each in list_walls(plan))
        raise PlanError(f"{'-'.join(wall)} is not a wall; the walls are {named}.")
    return np.array([first.x, first.y]), np.array([second.x, second.y])


def wall_length(plan: Plan, wall: tuple[str, str]) -> float:
    """Return a wall's length on the steel line [mm]."""
    first, second = _wall_ends(plan, wall)
    return math.dist(first, second)


def corner_distance(plan: Plan, ends: tuple[str, str]) -> float:
    """Return the distance between two corners of the steel line [mm]."""
    first, second = (get_corner(plan, name) for name in ends)
    return math.dist((first.x, first.y), (second.x, second.y))


def wall_axes(plan: Plan, wall: tuple[str, str]) -> LocalAxes:
    """Return a wall's axes, from its first corner, on plan axes [mm]."""
    first, second = _wall_ends(plan, wall)
    along = (second - first) / math.dist(first, second)
    return LocalAxes(origin=first, along=along, inward=np.array([-along[1], along[0]]))


def position_axes(plan: Plan, position: Position) -> LocalAxes:
    """Return a position's axes, from where its reference line meets the steel line.

    At a point position they start at the point, *along* being the plan's x axis
    turned by the position's `turn`.

    Parameters
    ----------
    plan : Plan
        The plan the position is on. [mm]
    position : Position
        On a wall or at a point. [mm, rad]

    Returns
    -------
    Frame
        On plan axes. [mm]
    """
    return _position_axes(plan, position, {})


def all_position_axes(plan: Plan) -> tuple[LocalAxes, ...]:
    """Return the axes of every position; each wall's are computed once.

    Parameters
    ----------
    plan : Plan
        [mm]
    """
    wall_cache: dict[tuple[str, str], LocalAxes] = {}
    return tuple(
        _position_axes(plan, position, wall_cache) for position in plan.positions
    )


def _position_axes(
    plan: Plan, position: Position, wall_cache: dict[tuple[str, str], LocalAxes]
) -> LocalAxes:
    """Return a position's axes; `wall_cache` has those of the walls so far."""
    if position.wall is not None:
        assert position.along is not None  # noqa: S101 - the parser reads both
        if position.wall not in wall_cache:
            wall_cache[position.wall] = wall_axes(plan, position.wall)
        wall = wall_cache[position.wall]
        return LocalAxes(
            origin=wall.origin + position.along * wall.along,
            along=wall.along,
            inward=wall.inward,
        )
    turn = position.turn or 0.0
    along = np.array([math.cos(turn), math.sin(turn)])
    return LocalAxes(
        origin=np.array([position.x, position.y], dtype=np.float64),
        along=along,
        inward=np.array([-along[1], along[0]]),
    )


def to_plan_axes(frame: LocalAxes, points: FloatArray) -> FloatArray:
    """Convert points from local to plan axes.

    Parameters
    ----------
    frame : Frame
        The local axes. [mm]
    points : array, shape (n, 2)
        Along and in. [mm]

    Returns
    -------
    array, shape (n, 2)
        Plan x and y. [mm]
    """
    basis = np.stack([frame.along, frame.inward])
    return np.asarray(frame.origin + np.asarray(points) @ basis)


def to_local_axes(frame: LocalAxes, points: FloatArray) -> FloatArray:
    """Convert points from plan to local axes.

    Parameters
    ----------
    frame : Frame
        The local axes. [mm]
    points : array, shape (n, 2)
        Plan x and y. [mm]

    Returns
    -------
    array, shape (n, 2)
        Along and in. [mm]
    """
    basis = np.stack([frame.along, frame.inward])
    return np.asarray((np.asarray(points) - frame.origin) @ basis.T)


def local_rods(detail: Detail) -> FloatArray:
    """Return a detail's rod centres, along and in, shape (n, 2) [mm]."""
    return np.array([(rod.along, rod.inward) for rod in detail.rods], dtype=np.float64)


def rod_points(plan: Plan, position: Position) -> FloatArray:
    """Return the planned rod centres of a position, shape (n, 2), plan axes [mm]."""
    frame = position_axes(plan, position)
    return to_plan_axes(frame, local_rods(get_detail(plan, position)))
