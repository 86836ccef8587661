"""What a plan asks to be measured, each with its nominal, and what it is called."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Literal

from jobs.anchor_plan.geometry import corner_distance, list_walls
from jobs.anchor_plan.values import Detail, Plan, Position

Stage = Literal["foundation", "verification", "erection"]
Axis = Literal["along", "in"]

ROW_TOLERANCE_MM = 1e-6
"""How far two rods may stand off one line and still be in a row. [mm]"""


class CheckKind(StrEnum):
    """What is read, by the word in front of the check's colon."""

    DIAGONAL = "diagonal"
    WALL = "wall"
    LINE = "line"
    SETBACK = "setback"
    OFFSET = "offset"
    GAGE = "gage"
    PROJECTION = "projection"
    LEVEL = "level"
    BENCHMARK = "benchmark"
    STRENGTH = "strength"
    NOTCH_WIDTH = "notch_width"
    NOTCH_DEPTH = "notch_depth"
    PLUMB = "plumb"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing to measure.

    Attributes
    ----------
    key : str
        Its canonical name, such as `diagonal:SW-NE` or `setback:S1.2`.
    nominal : float or None
        What the plan says; a `line`'s is from the wall's first corner. None where
        the plan has no figure: a level, a benchmark. [mm; MPa for a strength]
    rods : tuple of int
        The rods it is about, numbered from 1.
    corners : tuple of str
        The corners it runs between; of a line, setback or offset its wall's, and
        none at a point.
    name : str or None
        Of a benchmark or a sample.
    axis : {"along", "in"} or None
        What it is measured along, where that is one of the position's axes.
    required : bool
        Whether a release waits for it.
    stage : {"foundation", "verification", "erection"}
        The first stage in which it can be measured.
    """

    key: str
    kind: CheckKind
    nominal: float | None = None
    mark: str | None = None
    rods: tuple[int, ...] = ()
    corners: tuple[str, ...] = ()
    name: str | None = None
    axis: Axis | None = None
    required: bool = True
    stage: Stage = "foundation"

    @property
    def description(self) -> str:
        """What is measured, as a sentence names it."""
        ends = " to ".join(self.corners)
        rods = " and ".join(str(number) for number in self.rods)
        return {
            CheckKind.DIAGONAL: f"diagonal {ends}",
            CheckKind.WALL: f"wall {ends}",
            CheckKind.LINE: f"the line of {self.mark}",
            CheckKind.SETBACK: f"the setback of rod {rods} at {self.mark}",
            CheckKind.OFFSET: f"the offset of rod {rods} at {self.mark}",
            CheckKind.GAGE: f"the gage of rods {rods} at {self.mark}",
            CheckKind.PROJECTION: f"the projection of rod {rods} at {self.mark}",
            CheckKind.LEVEL: f"pad {self.mark}",
            CheckKind.BENCHMARK: f"benchmark {self.name}",
            CheckKind.STRENGTH: f"sample {self.name}",
            CheckKind.NOTCH_WIDTH: f"the notch width of wall {ends}",
            CheckKind.NOTCH_DEPTH: f"the notch depth of wall {ends}",
            CheckKind.PLUMB: f"the lean of {self.mark} {self.axis}",
        }[self.kind]


def generate_checks(plan: Plan) -> Iterator[Check]:
    """Go through what a plan asks to be measured, in the order of the walk."""
    for ends in plan.diagonals:
        yield build_diagonal_check(plan, ends, required=True)
    for wall in list_walls(plan):
        yield Check(
            key=f"wall:{'-'.join(wall)}",
            kind=CheckKind.WALL,
            nominal=corner_distance(plan, wall),
            corners=wall,
        )
    for position in plan.positions:
        if position.wall is not None:
            yield Check(
                key=f"line:{position.mark}",
                kind=CheckKind.LINE,
                nominal=position.along,
                mark=position.mark,
                corners=position.wall,
                axis="along",
            )
    for position in plan.positions:
        yield from _generate_pattern_checks(position, plan.details[position.detail])
    for position in plan.positions:
        yield Check(
            key=f"level:{position.mark}",
            kind=CheckKind.LEVEL,
            mark=position.mark,
            stage="verification",
        )
    yield from _generate_notch_checks(plan)
    for position in plan.positions:
        for axis in _AXES:
            yield Check(
                key=f"plumb:{position.mark}.{axis}",
                kind=CheckKind.PLUMB,
                nominal=0.0,
                mark=position.mark,
                axis=axis,
                stage="erection",
            )


_AXES: tuple[Axis, Axis] = ("in", "along")


def _generate_pattern_checks(position: Position, detail: Detail) -> Iterator[Check]:
    mark = position.mark
    for rod in detail.rods:
        numbers = (rod.number,)
        yield Check(
            key=f"setback:{mark}.{rod.number}",
            kind=CheckKind.SETBACK,
            nominal=rod.inward,
            mark=mark,
            rods=numbers,
            corners=position.wall or (),
            axis="in",
        )
        yield Check(
            key=f"offset:{mark}.{rod.number}",
            kind=CheckKind.OFFSET,
            nominal=rod.along,
            mark=mark,
            rods=numbers,
            corners=position.wall or (),
            axis="along",
        )
    for low, high in adjacent_rods(detail):
        yield build_gage_check(mark, detail, low, high)
    for rod in detail.rods:
        if rod.projection is not None:
            yield Check(
                key=f"projection:{mark}.{rod.number}",
                kind=CheckKind.PROJECTION,
                nominal=rod.projection,
                mark=mark,
                rods=(rod.number,),
            )


def adjacent_rods(detail: Detail) -> tuple[tuple[int, int], ...]:
    """Pair the rods that stand next to each other in a row, along or in."""
    pairs: set[tuple[int, int]] = set()
    points = {rod.number: (rod.along, rod.inward) for rod in detail.rods}
    for across, running in ((1, 0), (0, 1)):
        rows: dict[int, list[int]] = {}
        for number, point in points.items():
            rows.setdefault(round(point[across] / ROW_TOLERANCE_MM), []).append(number)
        for row in rows.values():
            row.sort(key=lambda number, axis=running: points[number][axis])  # type: ignore[misc]
            pairs.update((min(pair), max(pair)) for pair in pairwise(row))
    return tuple(sorted(pairs))


def build_gage_check(mark: str, detail: Detail, low: int, high: int) -> Check:
    """Give the gage of two rods of a position, numbered from 1, the lower first."""
    first, second = detail.rods[low - 1], detail.rods[high - 1]
    return Check(
        key=f"gage:{mark}.{low}-{high}",
        kind=CheckKind.GAGE,
        nominal=math.hypot(second.along - first.along, second.inward - first.inward),
        mark=mark,
        rods=(low, high),
        required=False,
    )


def build_diagonal_check(plan: Plan, ends: tuple[str, str], *, required: bool) -> Check:
    """Give the diagonal between two corners."""
    return Check(
        key=f"diagonal:{'-'.join(ends)}",
        kind=CheckKind.DIAGONAL,
        nominal=corner_distance(plan, ends),
        corners=ends,
        required=required,
    )


def _generate_notch_checks(plan: Plan) -> Iterator[Check]:
    """List the notch's checks; no release waits for them, for open walls have none."""
    if plan.notch is None:
        return
    for wall in list_walls(plan):
        for kind, nominal in (
            (CheckKind.NOTCH_WIDTH, plan.notch.width),
            (CheckKind.NOTCH_DEPTH, plan.notch.depth),
        ):
            yield Check(
                key=f"{kind}:{'-'.join(wall)}",
                kind=kind,
                nominal=nominal,
                corners=wall,
                required=False,
            )
