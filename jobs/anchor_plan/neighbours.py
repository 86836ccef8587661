"""Neighbouring positions: the bays along walls and the spans across frames.

Steel runs between neighbours: girts, purlins and eave members along a bay, the rafters
of a frame across a span. What counts as neighbours::

    NW ----N3------N2------N1---- NE
     |      |       |       |      |        bays   S1-S2, S2-S3, N1-N2, N2-N3
     |      |      K1       |      |        spans  S1-N3, S2-N2, S3-N1,
     |      |       |       |      |               S2-K1, K1-N2
    SW ----S1------S2------S3---- SE

- A *bay* joins two positions that follow each other along one wall.
- A *span* joins two positions that face each other on parallel walls, with the same
  coordinate along them and no wall in between: in an L-shaped outline that is the
  nearest opposite wall. Frames do not cross: where positions of end walls face each
  other across the frames, the two walls with more spans carry the frames, or, of
  equally many, the two with the shorter ones.
- *Point positions* (interior columns) on one plan coordinate line are neighbours along
  it, each with the next only: a span on a line in the direction of the frames, where
  the line begins and ends at positions on walls, if there are any; a bay on a line
  square to it. Without spans between walls the frames run along the plan's y axis.
- Positions within `SAME_LINE_MM` of each other are one place; the first of them in the
  plan stands for it.

These rules are common practice in their wording and a project choice in their detail.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from jobs.anchor_plan.geometry import (
    FloatArray,
    all_position_axes,
    list_walls,
    outline_points,
    wall_axes,
)
from jobs.anchor_plan.values import Plan, PlanKey

SAME_LINE_MM = 1.0
"""Coordinates no further apart than this are one line: plans are rounded to 1/32 in or
a millimetre. [mm]"""

PARALLEL_RAD = 1e-3
"""Walls no further than this from parallel face each other. [rad]"""

Wall = tuple[str, str]
IndexArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class NeighbourPair:
    """Two neighbouring positions and the planned length between them.

    Attributes
    ----------
    first, second : indices into the plan's positions; of a bay on a wall in the order
        of `along`, otherwise in the order of the plan.
    direction : unit vector on plan axes from the first to the second: along the wall of
        a bay, square to the walls of a span.
    nominal_mm : the planned length in that direction, between the points where the two
        reference lines meet the steel line, or between the points of point
        positions. [mm]
    """

    first: int
    second: int
    direction: tuple[float, float]
    nominal_mm: float

    @property
    def ends(self) -> frozenset[int]:
        """The two positions, whichever comes first."""
        return frozenset((self.first, self.second))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Neighbours:
    """All pairs of one plan; `facing` has those that cross the frames too."""

    bays: tuple[NeighbourPair, ...]
    spans: tuple[NeighbourPair, ...]
    facing: tuple[NeighbourPair, ...]


def find_bays(plan: Plan) -> tuple[NeighbourPair, ...]:
    """Find the neighbours along each wall, and those of points square to the frames.

    Parameters
    ----------
    plan : Plan
        [mm]

    Returns
    -------
    tuple of NeighbourPair
        Wall by wall in the order of the outline, then point positions.
    """
    return _find_neighbours(PlanKey(plan)).bays


def find_spans(plan: Plan) -> tuple[NeighbourPair, ...]:
    """Find the neighbours across each frame, on walls and at points.

    Parameters
    ----------
    plan : Plan
        [mm]

    Returns
    -------
    tuple of NeighbourPair
        Between walls in the order of the plan, then those with a point position.
    """
    return _find_neighbours(PlanKey(plan)).spans


def find_facing_pairs(plan: Plan) -> tuple[NeighbourPair, ...]:
    """Find all positions on walls that face each other, whether a frame joins them.

    It has the spans of `find_spans` and those that cross them, such as between the
    columns of two end walls.

    Parameters
    ----------
    plan : Plan
        [mm]
    """
    return _find_neighbours(PlanKey(plan)).facing


@lru_cache(maxsize=32)
def _find_neighbours(key: PlanKey) -> _Neighbours:
    search = _NeighbourSearch(key.plan)
    facing = search.facing_pairs()
    between_walls = search.frame_spans(facing)
    axis = _frame_axis(between_walls)
    bays = [pair for wall in search.walls for pair in search.bays_on_wall(wall)]
    bays += search.pairs_on_lines(search.points, axis=1 - axis)
    spans = between_walls + [
        pair
        for pair in search.pairs_on_lines(range(len(key.plan.positions)), axis=axis)
        if not pair.ends.isdisjoint(search.points)
    ]
    return _Neighbours(
        bays=tuple(bays),
        spans=tuple(spans),
        facing=tuple(_sort_pairs(each for pairs in facing.values() for each in pairs)),
    )


class _NeighbourSearch:
    """The positions of one plan on plan axes, by wall."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.walls = list_walls(plan)
        self.corners = outline_points(plan)
        axes = all_position_axes(plan)
        self.origins = np.array([each.origin for each in axes]).reshape(-1, 2)
        self.along = np.array([each.along for each in axes]).reshape(-1, 2)
        self.inward = np.array([each.inward for each in axes]).reshape(-1, 2)
        self.on_wall: dict[Wall, list[int]] = defaultdict(list)
        self.points: list[int] = []
        for index, position in enumerate(plan.positions):
            if position.wall is None:
                self.points.append(index)
            else:
                self.on_wall[position.wall].append(index)

    def bays_on_wall(self, wall: Wall) -> list[NeighbourPair]:
        """Pair the positions that follow each other along a wall."""
        indices = self.on_wall.get(wall, [])
        return self._pair_consecutive(indices, wall_axes(self.plan, wall).along)

    def pairs_on_lines(
        self, indices: Sequence[int], *, axis: int
    ) -> list[NeighbourPair]:
        """Pair the positions that follow each other on lines along a plan axis."""
        if not self.points:
            return []
        members = np.array(indices, dtype=np.intp)
        pairs = [
            _in_plan_order(pair)
            for line in _split_at_gaps(self.origins[members, 1 - axis])
            for pair in self._pair_consecutive(members[sorted(line)], np.eye(2)[axis])
        ]
        return _sort_pairs(pair for pair in pairs if self._is_clear(pair))

    def _pair_consecutive(
        self, indices: Sequence[int] | IndexArray, direction: FloatArray
    ) -> list[NeighbourPair]:
        """Pair places that follow each other; the first position stands for each."""
        runs = self.origins[indices] @ direction
        places = [min(group) for group in _split_at_gaps(runs)]
        return [
            NeighbourPair(
                first=int(indices[low]),
                second=int(indices[high]),
                direction=(float(direction[0]), float(direction[1])),
                nominal_mm=float(runs[high] - runs[low]),
            )
            for low, high in pairwise(places)
        ]

    def facing_pairs(self) -> dict[frozenset[Wall], list[NeighbourPair]]:
        """Pair positions that face each other, by their two walls."""
        on_wall = np.array([p.wall is not None for p in self.plan.positions], bool)
        apart = self.origins[None] - self.origins[:, None]
        distance = np.einsum("ijk,ik->ij", apart, self.inward)
        sideways = np.einsum("ijk,ik->ij", apart, self.along)
        reach = self._first_exit(self.origins, self.inward) + SAME_LINE_MM
        facing = (
            (self.along @ self.along.T < -np.cos(PARALLEL_RAD))
            & (np.abs(sideways) <= SAME_LINE_MM)
            & (distance > SAME_LINE_MM)
            & (distance <= reach[:, None])
            & on_wall[:, None]
            & on_wall
        )
        if not facing.any():
            return {}
        nearest = np.where(facing, distance, np.inf).argmin(axis=1)
        found: dict[frozenset[Wall], list[NeighbourPair]] = defaultdict(list)
        for first, second in enumerate(nearest):
            # Of several at one place the first in the plan is taken, from both sides.
            if first < second and facing[first, second] and nearest[second] == first:
                walls = (self.plan.positions[k].wall for k in (first, second))
                found[frozenset(wall for wall in walls if wall)].append(
                    NeighbourPair(
                        first=first,
                        second=int(second),
                        direction=(
                            float(self.inward[first, 0]),
                            float(self.inward[first, 1]),
                        ),
                        nominal_mm=float(distance[first, second]),
                    )
                )
        return found

    def frame_spans(
        self, facing: dict[frozenset[Wall], list[NeighbourPair]]
    ) -> list[NeighbourPair]:
        """Select the facing pairs that frames can join without crossing."""
        kept: list[NeighbourPair] = []
        for pairs in sorted(
            facing.values(), key=lambda pairs: (-len(pairs), pairs[0].nominal_mm)
        ):
            if not self._do_cross(pairs, kept):
                kept += pairs
        return _sort_pairs(kept)

    def _do_cross(
        self, pairs: Sequence[NeighbourPair], others: Sequence[NeighbourPair]
    ) -> bool:
        """Check whether any line of one set crosses one of another set."""
        if not others:
            return False
        a, b = self._lines(pairs)[:, :, None]
        c, d = self._lines(others)[:, None]
        return bool(
            np.any(
                (_side(a, b, c) * _side(a, b, d) < 0)
                & (_side(c, d, a) * _side(c, d, b) < 0)
            )
        )

    def _lines(self, pairs: Sequence[NeighbourPair]) -> FloatArray:
        """Return where pairs begin and where they end, shape (2, n_pairs, 2) [mm]."""
        ends = [[pair.first, pair.second] for pair in pairs]
        return np.swapaxes(self.origins[ends], 0, 1)

    def _is_clear(self, pair: NeighbourPair) -> bool:
        """Check that no wall stands between two positions."""
        middle = self.origins[[pair.first, pair.second]].mean(axis=0)
        direction = np.array(pair.direction)
        exits = self._first_exit(
            np.stack([middle, middle]), np.stack([direction, -direction])
        )
        return bool(exits.min() >= pair.nominal_mm / 2 - SAME_LINE_MM)

    def _first_exit(self, starts: FloatArray, directions: FloatArray) -> FloatArray:
        """Compute how far each ray runs before it crosses a wall.

        A wall that the ray only touches, within `SAME_LINE_MM` of its end, does not
        stop it.

        Parameters
        ----------
        starts, directions : array, shape (n, 2)
            Points and unit vectors on plan axes. [mm]

        Returns
        -------
        array, shape (n,)
            Infinite where it crosses none. [mm]
        """
        first = self.corners - starts[:, None]
        second = np.roll(first, -1, axis=1)
        square = np.stack([-directions[:, 1], directions[:, 0]], axis=1)
        left = np.einsum("nck,nk->nc", first, square)
        right = np.einsum("nck,nk->nc", second, square)
        crosses = (np.minimum(left, right) < -SAME_LINE_MM) & (
            np.maximum(left, right) > SAME_LINE_MM
        )
        share = np.divide(left, left - right, where=crosses, out=np.zeros_like(left))
        at = first + share[..., None] * (second - first)
        distance = np.einsum("nck,nk->nc", at, directions)
        ahead = crosses & (distance > SAME_LINE_MM)
        return np.asarray(np.where(ahead, distance, np.inf).min(axis=1))


def _frame_axis(spans: Sequence[NeighbourPair]) -> int:
    """Return the plan axis nearest to the frames: 0 for x, 1 for y."""
    weights = (
        np.abs([pair.direction for pair in spans]).sum(axis=0) if spans else (0, 1)
    )
    return 0 if weights[0] > weights[1] else 1


def _sort_pairs(pairs: Iterable[NeighbourPair]) -> list[NeighbourPair]:
    return sorted(pairs, key=lambda pair: (pair.first, pair.second))


def _in_plan_order(pair: NeighbourPair) -> NeighbourPair:
    if pair.first < pair.second:
        return pair
    return NeighbourPair(
        first=pair.second,
        second=pair.first,
        direction=(-pair.direction[0], -pair.direction[1]),
        nominal_mm=pair.nominal_mm,
    )


def _split_at_gaps(values: FloatArray) -> list[list[int]]:
    """Group the indices of values that are one line, in increasing order of value."""
    groups: list[list[int]] = []
    for index in np.argsort(values, kind="stable"):
        if groups and values[index] - values[groups[-1][-1]] <= SAME_LINE_MM:
            groups[-1].append(int(index))
        else:
            groups.append([int(index)])
    return groups


def _side(start: FloatArray, end: FloatArray, point: FloatArray) -> FloatArray:
    """Compute a signed area: positive where the point is left of start to end."""
    edge, to_point = end - start, point - start
    return np.asarray(edge[..., 0] * to_point[..., 1] - edge[..., 1] * to_point[..., 0])
