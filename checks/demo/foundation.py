"""A simulated foundation: the as-built dimensions that no site ever knows.

The demo and the benchmark of likely causes measure it. The spreads are a project
choice: ordinary work mostly keeps the limits of metal building practice. The same seed
builds the same foundation.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import FloatArray
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.geometry import list_walls, outline_points, position_axes
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan

PLUMB_HEIGHT_MM = 4000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundationSpread:
    """Standard deviations of a foundation from its plan. [mm, rad]

    Attributes
    ----------
    corner : a corner of the outline, each axis. [mm]
    line : a reference line along its wall. [mm]
    inward : a pattern square to its wall. [mm]
    rotation : a pattern about its centroid. [rad]
    rod : a rod within its pattern, each axis. [mm]
    projection : the top of a rod. [mm]
    pad : the height of a pad. [mm]
    notch : width and depth of the sheeting notch. [mm]
    out_of_plumb : a column, each axis, per height. [1]
    """

    corner: float = 1.5
    line: float = 0.8
    inward: float = 0.7
    rotation: float = 0.002
    rod: float = 0.45
    projection: float = 3.0
    pad: float = 0.9
    notch: float = 1.5
    out_of_plumb: float = 0.0006

    def scale(self, factor: float) -> "FoundationSpread":
        """Return the deviations multiplied by a factor."""
        return FoundationSpread(
            **{n: factor * getattr(self, n) for n in self.__slots__}
        )


# Poured to plan: for tests, and for work that is done exactly as ordered.
NO_SPREAD = FoundationSpread().scale(0.0)
# Otherwise an ordinary building of the demo would open too many findings.
CAREFUL_SPREAD = FoundationSpread().scale(0.55)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltFoundation:
    """The as-built dimensions of a foundation, positions in the order of the plan.

    Attributes
    ----------
    plan : the plan it was built to.
    corners : array, shape (n_corners, 2), plan axes. [mm]
    line : array, shape (n_positions,), deviation of each reference line. [mm]
    rods : one array per position, shape (n_rods, 2): along from the reference line as
        built, in from the steel line as built. [mm]
    projections : one array per position, shape (n_rods,). [mm]
    pads : array, shape (n_positions,), heights. [mm]
    notches : array, shape (n_corners, 2), width and depth by wall. [mm]
    out_of_plumb : array, shape (n_positions, 2), along and in, per height. [1]
    """

    plan: Plan
    corners: FloatArray
    line: FloatArray
    rods: tuple[FloatArray, ...]
    projections: tuple[FloatArray, ...]
    pads: FloatArray
    notches: FloatArray
    out_of_plumb: FloatArray

    def position_index(self, mark: str) -> int:
        """Return the index of a position in the plan."""
        return next(i for i, p in enumerate(self.plan.positions) if p.mark == mark)


def build_foundation(
    plan: Plan, seed: int, spread: FoundationSpread | None = None
) -> BuiltFoundation:
    """Build a foundation to a plan, with deviations of the given spread. [mm]"""
    rng = np.random.default_rng(seed)
    spread = spread or FoundationSpread()
    outline = outline_points(plan)
    details = [plan.details[position.detail] for position in plan.positions]
    planned = [np.array([(r.along, r.inward) for r in d.rods]) for d in details]
    heights = [np.array([r.projection or 0.0 for r in d.rods]) for d in details]
    count = len(details)
    line = rng.normal(0.0, spread.line, count)
    inward = rng.normal(0.0, spread.inward, count)
    rotation = rng.normal(0.0, spread.rotation, count)
    notch = plan.notch
    size = (0.0, 0.0) if notch is None else (notch.width, notch.depth)
    return BuiltFoundation(
        plan=plan,
        corners=outline + rng.normal(0.0, spread.corner, outline.shape),
        line=line,
        rods=tuple(
            _rotate_points(points, angle)
            + np.array([0.0, step])
            + rng.normal(0.0, spread.rod, points.shape)
            for points, angle, step in zip(planned, rotation, inward, strict=True)
        ),
        projections=tuple(
            tops + rng.normal(0.0, spread.projection, tops.shape) for tops in heights
        ),
        pads=rng.normal(0.0, spread.pad, count),
        notches=np.array(size) + rng.normal(0.0, spread.notch, (len(outline), 2)),
        out_of_plumb=rng.normal(0.0, spread.out_of_plumb, (count, 2)),
    )


def _rotate_points(points: FloatArray, angle: float) -> FloatArray:
    """Rotate points counter-clockwise about their centroid. [mm, rad]"""
    middle = points.mean(axis=0)
    cos, sin = math.cos(angle), math.sin(angle)
    return np.asarray(middle + (points - middle) @ np.array([[cos, sin], [-sin, cos]]))


def shift_pattern(
    foundation: BuiltFoundation, mark: str, along: float = 0.0, inward: float = 0.0
) -> BuiltFoundation:
    """Return the foundation with one pattern displaced. [mm]"""
    index = foundation.position_index(mark)
    # A position at a point has no line to move along.
    on_wall = foundation.plan.positions[index].wall is not None
    line = foundation.line.copy()
    line[index] += along if on_wall else 0.0
    rods = list(foundation.rods)
    rods[index] = rods[index] + np.array([0.0 if on_wall else along, inward])
    return replace(foundation, line=line, rods=tuple(rods))


def place_pattern(
    foundation: BuiltFoundation,
    mark: str,
    *,
    line: float = 0.0,
    along: float = 0.0,
    inward: float = 0.0,
    degrees: float = 0.0,
) -> BuiltFoundation:
    """Return the foundation with one pattern as planned but for what is given.

    `line` displaces the reference line, `along` and `inward` the rods from it and from
    the steel line; `degrees` turns them counter-clockwise. [mm, degree]
    """
    index = foundation.position_index(mark)
    detail = foundation.plan.details[foundation.plan.positions[index].detail]
    planned = np.array([(rod.along, rod.inward) for rod in detail.rods])
    lines, rods = foundation.line.copy(), list(foundation.rods)
    lines[index] = line
    turned = _rotate_points(planned, math.radians(degrees))
    rods[index] = turned + np.array([along, inward])
    return replace(foundation, line=lines, rods=tuple(rods))


def lean_column(
    foundation: BuiltFoundation, mark: str, along: float, inward: float
) -> BuiltFoundation:
    """Return the foundation with one column out of plumb, per height. [1]"""
    leans = foundation.out_of_plumb.copy()
    leans[foundation.position_index(mark)] = (along, inward)
    return replace(foundation, out_of_plumb=leans)


def shift_rod(
    foundation: BuiltFoundation, mark: str, rod: int, along: float, inward: float
) -> BuiltFoundation:
    """Return the foundation with one rod displaced. [mm]"""
    index = foundation.position_index(mark)
    rods = list(foundation.rods)
    rods[index] = rods[index].copy()
    rods[index][rod - 1] += (along, inward)
    return replace(foundation, rods=tuple(rods))


def shift_pad(foundation: BuiltFoundation, mark: str, height: float) -> BuiltFoundation:
    """Return the foundation with one pad higher, or lower where negative. [mm]"""
    pads = foundation.pads.copy()
    pads[foundation.position_index(mark)] += height
    return replace(foundation, pads=pads)


def shorten_rod(
    foundation: BuiltFoundation, mark: str, rod: int, by: float
) -> BuiltFoundation:
    """Return the foundation with one rod shorter. [mm]"""
    index = foundation.position_index(mark)
    tops = list(foundation.projections)
    tops[index] = tops[index].copy()
    tops[index][rod - 1] -= by
    return replace(foundation, projections=tuple(tops))


def shift_corner(
    foundation: BuiltFoundation, name: str, x: float, y: float
) -> BuiltFoundation:
    """Return the foundation with one corner of the outline displaced. [mm]"""
    corners = foundation.corners.copy()
    names = [corner.name for corner in foundation.plan.outline]
    corners[names.index(name)] += (x, y)
    return replace(foundation, corners=corners)


def _compute_true_distance(foundation: BuiltFoundation, check: Check) -> float:
    """Compute the true length between two reference lines as built. [mm]"""
    plan = foundation.plan
    names = [corner.name for corner in plan.outline]
    ends = []
    for index in map(foundation.position_index, check.marks):
        position = plan.positions[index]
        if position.wall is None:
            ends.append(position_axes(plan, position).origin)
            continue
        first, second = (foundation.corners[names.index(n)] for n in position.wall)
        along = (position.along or 0.0) + float(foundation.line[index])
        ends.append(first + along * (second - first) / math.dist(first, second))
    return math.dist(*ends)


def compute_true_value(foundation: BuiltFoundation, check: Check) -> float:
    """Compute the true value of a check, grade-rod readings excepted. [mm]

    A line is measured from the first corner of its wall, plumb over `PLUMB_HEIGHT_MM`.
    """
    if check.kind in (CheckKind.DIAGONAL, CheckKind.WALL):
        names = [corner.name for corner in foundation.plan.outline]
        first, second = (
            foundation.corners[names.index(name)] for name in check.corners
        )
        return math.dist(first, second)
    if check.kind in (CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH):
        wall = list_walls(foundation.plan).index((check.corners[0], check.corners[1]))
        return float(foundation.notches[wall, int(check.kind is CheckKind.NOTCH_DEPTH)])
    if check.kind in PAIR_KINDS:
        return _compute_true_distance(foundation, check)
    index = foundation.position_index(check.mark or "")
    rods = foundation.rods[index]
    numbers = [number - 1 for number in check.rods]
    values: dict[CheckKind, Callable[[], float]] = {
        CheckKind.LINE: lambda: (check.nominal or 0.0) + float(foundation.line[index]),
        CheckKind.OFFSET: lambda: float(rods[numbers[0], 0]),
        CheckKind.SETBACK: lambda: float(rods[numbers[0], 1]),
        CheckKind.GAGE: lambda: math.dist(rods[numbers[0]], rods[numbers[1]]),
        CheckKind.PROJECTION: lambda: float(foundation.projections[index][numbers[0]]),
        CheckKind.PLUMB: lambda: (
            PLUMB_HEIGHT_MM
            * float(foundation.out_of_plumb[index, int(check.axis == "in")])
        ),
    }
    return values[check.kind]()
