"""Rods gathered into positions, and positions placed on walls. [mm]"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, sin

import numpy as np

from jobs.exchange.dxf.shapes import Circle, Pattern
from jobs.exchange.reader import DocumentError, Refusal
from jobs.exchange.vocabulary import MOST_RODS
from jobs.plan.rectangle import letter

ON_A_WALL_MM = 915.0
"""A position whose rods' middle is this near to the steel line stands on it. Ours."""

INSERTED_MM = 0.1  # how far from the steel line a block on it may be inserted
SQUARE_RAD = 1e-4  # how far its turn may be off the wall's

Point = tuple[float, float]
Placed = tuple[tuple[float, float, float], Circle]
"""A rod: x, y and diameter on plan axes [mm], and the circle it was drawn as."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """The rods of one position.

    Attributes
    ----------
    pattern, at : the block they are of and where it is inserted, if they are. [mm]
    """

    rods: list[Placed]
    place: str
    pattern: Pattern | None = None
    at: Point = (0.0, 0.0)

    @property
    def middle(self) -> Point:
        """The middle of the rods. [mm]"""
        xs, ys = [rod[0][0] for rod in self.rods], [rod[0][1] for rod in self.rods]
        return sum(xs) / len(xs), sum(ys) / len(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a position stands, and its rods in its own axes. [mm, deg]

    Attributes
    ----------
    rods : along, in and diameter of each.
    """

    rods: tuple[tuple[float, float, float], ...]
    wall: str | None = None
    along: float = 0.0
    x: float = 0.0
    y: float = 0.0
    turn_deg: float = 0.0


def area(points: Sequence[Point]) -> float:
    """Return twice the area inside a loop, positive counter-clockwise.

    Taken about its first point, for the digits' sake.
    """
    x0, y0 = points[0]
    moved = [(x - x0, y - y0) for x, y in points]
    return sum(
        a[0] * b[1] - b[0] * a[1]
        for a, b in zip(moved, [*moved[1:], moved[0]], strict=True)
    )


def grouped(rods: Sequence[Placed], near: float) -> list[list[Placed]]:
    """Gather rods that are near one another, or near one that is. [mm]

    Raises
    ------
    DocumentError
        If more rods are near one than any pattern has.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    if not rods:
        return []
    points = np.array([rod[0][:2] for rod in rods])
    # So many neighbours at most are looked for: all pairs of a hatch would be millions.
    found, indices = KDTree(points).query(
        points, k=MOST_RODS + 1, distance_upper_bound=near
    )
    crowded = np.isfinite(found[:, MOST_RODS])
    if crowded.any():
        place = rods[int(np.argmax(crowded))][1].place
        msg = (
            f"More than {MOST_RODS} circles stand within {near:.0f} mm of one another "
            "here: rods of one position are fewer. Choose another layer."
        )
        raise DocumentError([Refusal(place, msg)])
    ones = np.isfinite(found)
    rows = np.repeat(np.arange(len(rods)), ones.sum(axis=1))
    graph = coo_array(
        (np.ones(len(rows)), (rows, indices[ones])), shape=(len(rods),) * 2
    )
    count, label = connected_components(graph, directed=False)
    groups: list[list[Placed]] = [[] for _ in range(count)]
    for rod, number in zip(rods, label, strict=True):
        groups[number].append(rod)
    return groups


def placed(group: Group, names: Sequence[str], corners: Sequence[Point]) -> Place:
    """Find where a position stands: on the wall nearest to its rods, or at a point.

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
        along, inward = _local(group.middle, start, axis)
        if -ON_A_WALL_MM <= inward <= ON_A_WALL_MM and 0.0 <= along <= length:
            walls.append((abs(inward), index, start, axis, length))
    pattern = group.pattern
    if pattern is not None and (inserted := _inserted(group, pattern, names, corners)):
        return inserted
    ours = pattern is not None and pattern.attribute("DETAIL")
    if walls and not ours:
        _, index, start, axis, _ = min(walls)
        along = _local(group.middle, start, axis)[0]
        return _on_wall(group, names, index, start, axis, along)
    turn = pattern.turn if pattern else 0.0
    x, y = group.at if pattern else group.middle
    rods = _rods(group, (x, y), (cos(turn), sin(turn)))
    return Place(rods=rods, x=x, y=y, turn_deg=degrees(turn))


def _inserted(
    group: Group, pattern: Pattern, names: Sequence[str], corners: Sequence[Point]
) -> Place | None:
    """Take a block as it is inserted, where that is on a wall and square to it."""
    for index, start in enumerate(corners):
        end = corners[(index + 1) % len(corners)]
        length = hypot(end[0] - start[0], end[1] - start[1])
        axis = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        along, inward = _local(group.at, start, axis)
        off = (pattern.turn - atan2(axis[1], axis[0]) + np.pi) % (2 * np.pi) - np.pi
        if (
            abs(inward) <= INSERTED_MM
            and -INSERTED_MM <= along <= length + INSERTED_MM
            and abs(off) <= SQUARE_RAD
        ):
            along = min(max(along, 0.0), length)
            return _on_wall(group, names, index, start, axis, along)
    return None


def _on_wall(
    group: Group,
    names: Sequence[str],
    index: int,
    start: Point,
    axis: Point,
    along: float,
) -> Place:
    wall = f"{names[index]}-{names[(index + 1) % len(names)]}"
    foot = (start[0] + along * axis[0], start[1] + along * axis[1])
    return Place(rods=_rods(group, foot, axis), wall=wall, along=along)


def _rods(
    group: Group, foot: Point, axis: Point
) -> tuple[tuple[float, float, float], ...]:
    local = [(*_local((x, y), foot, axis), size) for (x, y, size), _ in group.rods]
    if group.pattern is None:  # in rows from the steel line in, left to right
        local.sort(key=lambda rod: (round(rod[1]), rod[0]))
    return tuple(local)


def _local(point: Point, start: Point, axis: Point) -> Point:
    """Carry a point into axes along and in, from a start. [mm]"""
    x, y = point[0] - start[0], point[1] - start[1]
    return x * axis[0] + y * axis[1], y * axis[0] - x * axis[1]


def nearest_names(
    points: Sequence[Point], words: Sequence[tuple[str, Point]], within: float
) -> list[str]:
    """Give each point the words nearest to it, the nearest pairs first. [mm]

    No words are given twice; a point with none near enough has an empty name.
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


def corner_names(points: Sequence[Point], found: Sequence[str]) -> list[str]:
    """Name the corners: as written, else as the drawing lies, else by letters."""
    if all(found):
        return list(found)
    if len(points) == 4:
        x0, y0 = (sum(axis) / 4 for axis in zip(*points, strict=True))
        sides = [f"{'N' if y > y0 else 'S'}{'E' if x > x0 else 'W'}" for x, y in points]
        if len(set(sides)) == 4:
            return sides
    return [letter(index) for index in range(len(points))]
