"""Grouping of rods into positions, and placing of positions on walls. [mm]"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, sin

import numpy as np

from jobs.anchor_plan.rectangle import line_letters
from jobs.exchange.dxf.drawing_shapes import BlockInsert, Circle
from jobs.exchange.issues import file_error
from jobs.exchange.vocabulary import MAX_RODS_PER_DETAIL

MAX_WALL_DISTANCE_MM = 915.0
"""A position is on a wall if the middle of its rods is this near to it. Project
choice."""

INSERT_TOLERANCE_MM = 0.1
"""A block inserted this near to the steel line is on it."""

SQUARE_TOLERANCE_RAD = 1e-4
"""A block rotated this near to a wall's direction is square to it."""

PlanPoint = tuple[float, float]
RodCircle = tuple[tuple[float, float, float], Circle]
"""A rod: x, y and diameter on plan axes [mm], and the circle it is drawn as."""


@dataclass(frozen=True, slots=True, eq=False)
class RodGroup:
    """The rods of one position.

    Attributes
    ----------
    insert, insert_point : the block they are drawn as, and where it is inserted; None
        if they are no block. [mm]
    """

    rods: list[RodCircle]
    location: str
    insert: BlockInsert | None = None
    insert_point: PlanPoint = (0.0, 0.0)

    @property
    def centre(self) -> PlanPoint:
        """Mean of the rod centres. [mm]"""
        xs, ys = [rod[0][0] for rod in self.rods], [rod[0][1] for rod in self.rods]
        return sum(xs) / len(xs), sum(ys) / len(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionPlacement:
    """Where a position is, and its rods in its own axes. [mm, deg]

    Attributes
    ----------
    rods : along, in and diameter of each.
    """

    rods: tuple[tuple[float, float, float], ...]
    wall: str | None = None
    along: float = 0.0
    x: float = 0.0
    y: float = 0.0
    rotation_deg: float = 0.0


def doubled_area(points: Sequence[PlanPoint]) -> float:
    """Return twice the area of a closed polyline, positive counter-clockwise.

    It is computed about the first point: large coordinates would cost digits.
    """
    x0, y0 = points[0]
    moved = [(x - x0, y - y0) for x, y in points]
    return sum(
        a[0] * b[1] - b[0] * a[1]
        for a, b in zip(moved, [*moved[1:], moved[0]], strict=True)
    )


def group_rods(rods: Sequence[RodCircle], near: float) -> list[list[RodCircle]]:
    """Group rods that are near each other, directly or through others. [mm]

    Raises
    ------
    DocumentError
        If a rod has more neighbours than any pattern has rods.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    if not rods:
        return []
    points = np.array([rod[0][:2] for rod in rods])
    # The number of neighbours is limited: a hatch would have millions of pairs.
    found, indices = KDTree(points).query(
        points, k=MAX_RODS_PER_DETAIL + 1, distance_upper_bound=near
    )
    crowded = np.isfinite(found[:, MAX_RODS_PER_DETAIL])
    if crowded.any():
        place = rods[int(np.argmax(crowded))][1].location
        msg = (
            f"More than {MAX_RODS_PER_DETAIL} circles are within {near:.0f} mm of each "
            "other here, too many for one position. Choose another layer."
        )
        raise file_error(msg, place)
    ones = np.isfinite(found)
    rows = np.repeat(np.arange(len(rods)), ones.sum(axis=1))
    graph = coo_array(
        (np.ones(len(rows)), (rows, indices[ones])), shape=(len(rods),) * 2
    )
    count, label = connected_components(graph, directed=False)
    groups: list[list[RodCircle]] = [[] for _ in range(count)]
    for rod, number in zip(rods, label, strict=True):
        groups[number].append(rod)
    return groups


def place_group(
    group: RodGroup, names: Sequence[str], corners: Sequence[PlanPoint]
) -> PositionPlacement:
    """Find where a position is: on the wall nearest to its rods, or at a point.

    Parameters
    ----------
    group : its rods.
    names, corners : of the outline, counter-clockwise. [mm]
    """
    walls = []
    for index, start in enumerate(corners):
        end = corners[(index + 1) % len(corners)]
        length = hypot(end[0] - start[0], end[1] - start[1])
        axis = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        along, inward = _to_local(group.centre, start, axis)
        if (
            -MAX_WALL_DISTANCE_MM <= inward <= MAX_WALL_DISTANCE_MM
            and 0.0 <= along <= length
        ):
            walls.append((abs(inward), index, start, axis, length))
    # A block knows its own position better than the middle of its rods.
    pattern = group.insert
    if pattern is not None and (
        inserted := _place_insert(group, pattern, names, corners)
    ):
        return inserted
    ours = pattern is not None and pattern.attribute("DETAIL")
    if walls and not ours:
        _, index, start, axis, _ = min(walls)
        along = _to_local(group.centre, start, axis)[0]
        return _place_on_wall(group, names, index, start, axis, along)
    turn = pattern.rotation if pattern else 0.0
    x, y = group.insert_point if pattern else group.centre
    rods = _local_rods(group, (x, y), (cos(turn), sin(turn)))
    return PositionPlacement(rods=rods, x=x, y=y, rotation_deg=degrees(turn))


def _place_insert(
    group: RodGroup,
    pattern: BlockInsert,
    names: Sequence[str],
    corners: Sequence[PlanPoint],
) -> PositionPlacement | None:
    """Place a block as it is inserted, if that is on a wall and square to it."""
    for index, start in enumerate(corners):
        end = corners[(index + 1) % len(corners)]
        length = hypot(end[0] - start[0], end[1] - start[1])
        axis = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        along, inward = _to_local(group.insert_point, start, axis)
        off = (pattern.rotation - atan2(axis[1], axis[0]) + np.pi) % (2 * np.pi) - np.pi
        if (
            abs(inward) <= INSERT_TOLERANCE_MM
            and -INSERT_TOLERANCE_MM <= along <= length + INSERT_TOLERANCE_MM
            and abs(off) <= SQUARE_TOLERANCE_RAD
        ):
            along = min(max(along, 0.0), length)
            return _place_on_wall(group, names, index, start, axis, along)
    return None


def _place_on_wall(
    group: RodGroup,
    names: Sequence[str],
    index: int,
    start: PlanPoint,
    axis: PlanPoint,
    along: float,
) -> PositionPlacement:
    wall = f"{names[index]}-{names[(index + 1) % len(names)]}"
    foot = (start[0] + along * axis[0], start[1] + along * axis[1])
    return PositionPlacement(
        rods=_local_rods(group, foot, axis), wall=wall, along=along
    )


def _local_rods(
    group: RodGroup, foot: PlanPoint, axis: PlanPoint
) -> tuple[tuple[float, float, float], ...]:
    local = [(*_to_local((x, y), foot, axis), size) for (x, y, size), _ in group.rods]
    if group.insert is None:  # row by row from the steel line inward, left to right
        local.sort(key=lambda rod: (round(rod[1]), rod[0]))
    return tuple(local)


def _to_local(point: PlanPoint, start: PlanPoint, axis: PlanPoint) -> PlanPoint:
    """Convert a point to axes along and in, from a start. [mm]"""
    x, y = point[0] - start[0], point[1] - start[1]
    return x * axis[0] + y * axis[1], y * axis[0] - x * axis[1]


def match_labels(
    points: Sequence[PlanPoint], words: Sequence[tuple[str, PlanPoint]], within: float
) -> list[str]:
    """Match each point with the nearest label, the nearest pairs first. [mm]

    Each label is used once; a point without a label near enough has an empty name.
    """
    found = [""] * len(points)
    if not points or not words:
        return found
    from scipy.spatial import KDTree

    tree = KDTree([at for _, at in words])
    many = min(len(words), 16)
    distances, indices = tree.query(list(points), k=many, distance_upper_bound=within)
    pairs = sorted(
        (float(distance), i, int(j))
        for i, (row, near) in enumerate(
            zip(
                np.reshape(distances, (len(points), many)),
                np.reshape(indices, (len(points), many)),
                strict=True,
            )
        )
        for distance, j in zip(row, near, strict=True)
        if np.isfinite(distance)
    )
    taken: set[str] = set()
    for _, i, j in pairs:
        if not found[i] and words[j][0] not in taken:
            found[i] = words[j][0]
            taken.add(found[i])
    return found


def name_corners(points: Sequence[PlanPoint], found: Sequence[str]) -> list[str]:
    """Name the corners: by their labels, else by compass, else by letters."""
    if all(found):
        return list(found)
    if len(points) == 4:
        x0, y0 = (sum(axis) / 4 for axis in zip(*points, strict=True))
        sides = [f"{'N' if y > y0 else 'S'}{'E' if x > x0 else 'W'}" for x, y in points]
        if len(set(sides)) == 4:
            return sides
    return [line_letters(index) for index in range(len(points))]
