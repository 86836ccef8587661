"""The checks a plan asks for, each with its nominal, its stage and its key."""

import math
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

from core.vocabulary import StageKind
from jobs.anchor_plan.check_keys import Axis, CheckKey, CheckKind
from jobs.anchor_plan.geometry import corner_distance, list_walls
from jobs.anchor_plan.neighbours import NeighbourPair, find_bays, find_spans
from jobs.anchor_plan.values import Detail, Plan, Position

ROW_TOLERANCE_MM = 1e-6
"""Two rods no further than this off one line stand in a row. [mm]"""

_PLUMB_AXES: tuple[Axis, Axis] = ("in", "along")


class Check(NamedTuple):
    """One thing to measure; a tuple, because a plan has thousands of them.

    Attributes
    ----------
    key : its canonical key, such as `diagonal:SW-NE` or `setback:S1.2`.
    kind : what is measured.
    nominal : from the plan; a `line`'s is counted from the wall's first corner. None
        where the plan has none: a level, a benchmark. [mm; MPa for a strength]
    mark : of the position, where it is at one.
    rods : the rods it is about, numbered from 1.
    corners : the corners it runs between; of a line, setback or offset those of its
        wall, empty at a point position.
    marks : of the two positions a bay or span runs between.
    name : of a benchmark or a sample.
    axis : the axis of the position it is measured along, where it is along one.
    required : true if a release waits for it.
    stage : the first stage in which it can be measured.
    """

    key: CheckKey
    kind: CheckKind
    nominal: float | None = None
    mark: str | None = None
    rods: tuple[int, ...] = ()
    corners: tuple[str, ...] = ()
    name: str | None = None
    axis: Axis | None = None
    required: bool = True
    stage: StageKind = StageKind.FOUNDATION
    marks: tuple[str, ...] = ()

    @property
    def description(self) -> str:
        """Name of the check in a sentence."""
        ends = " to ".join(self.corners)
        rods = " and ".join(str(number) for number in self.rods)
        pair = " to ".join(self.marks)
        return {
            CheckKind.DIAGONAL: f"diagonal {ends}",
            CheckKind.WALL: f"wall {ends}",
            CheckKind.LINE: f"the line of {self.mark}",
            CheckKind.BAY: f"the bay {pair}",
            CheckKind.SPAN: f"the span {pair}",
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
    """Generate the checks a plan asks for, in the order they are measured."""
    for ends in plan.diagonals:
        yield build_diagonal_check(plan, ends, required=True)
    for wall in list_walls(plan):
        yield Check(
            key=CheckKey.for_corners(CheckKind.WALL, wall),
            kind=CheckKind.WALL,
            nominal=corner_distance(plan, wall),
            corners=wall,
        )
    for position in plan.positions:
        if position.wall is not None:
            yield Check(
                key=CheckKey.for_position(CheckKind.LINE, position.mark),
                kind=CheckKind.LINE,
                nominal=position.along,
                mark=position.mark,
                corners=position.wall,
                axis="along",
            )
    for position in plan.positions:
        yield from _generate_pattern_checks(position, plan.details[position.detail])
    yield from generate_pair_checks(plan)
    for position in plan.positions:
        yield Check(
            key=CheckKey.for_position(CheckKind.LEVEL, position.mark),
            kind=CheckKind.LEVEL,
            mark=position.mark,
            stage=StageKind.VERIFICATION,
        )
    yield from _generate_notch_checks(plan)
    for position in plan.positions:
        for axis in _PLUMB_AXES:
            yield Check(
                key=CheckKey.for_plumb(position.mark, axis),
                kind=CheckKind.PLUMB,
                nominal=0.0,
                mark=position.mark,
                axis=axis,
                stage=StageKind.ERECTION,
            )


def _generate_pattern_checks(position: Position, detail: Detail) -> Iterator[Check]:
    mark, corners = position.mark, position.wall or ()
    for rod in detail.rods:
        yield Check(
            key=CheckKey.for_rod(CheckKind.SETBACK, mark, rod.number),
            kind=CheckKind.SETBACK,
            nominal=rod.inward,
            mark=mark,
            rods=(rod.number,),
            corners=corners,
            axis="in",
        )
        yield Check(
            key=CheckKey.for_rod(CheckKind.OFFSET, mark, rod.number),
            kind=CheckKind.OFFSET,
            nominal=rod.along,
            mark=mark,
            rods=(rod.number,),
            corners=corners,
            axis="along",
        )
    # Gages of neighbouring rods are enough to determine the pattern.
    for low, high in adjacent_rods(detail):
        yield build_gage_check(mark, detail, low, high)
    for rod in detail.rods:
        if rod.projection is not None:
            yield Check(
                key=CheckKey.for_rod(CheckKind.PROJECTION, mark, rod.number),
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
            # Rounded, because conversion from inches leaves differences in the last
            # digit.
            rows.setdefault(round(point[across] / ROW_TOLERANCE_MM), []).append(number)
        for row in rows.values():
            row.sort(key=lambda number, axis=running: points[number][axis])  # type: ignore[misc]
            pairs.update((min(pair), max(pair)) for pair in pairwise(row))
    return tuple(sorted(pairs))


def build_gage_check(mark: str, detail: Detail, low: int, high: int) -> Check:
    """Build the gage check of two rods, numbered from 1, the lower number first."""
    first, second = detail.rods[low - 1], detail.rods[high - 1]
    return Check(
        key=CheckKey.for_gage(mark, low, high),
        kind=CheckKind.GAGE,
        nominal=math.hypot(second.along - first.along, second.inward - first.inward),
        mark=mark,
        rods=(low, high),
        required=False,
    )


def generate_pair_checks(plan: Plan) -> Iterator[Check]:
    """Generate the checks of all bays, then of all spans; no release waits for them.

    Hyphens in marks can make two pairs one key: neither has a check then.
    """
    for kind, pairs in (
        (CheckKind.BAY, find_bays(plan)),
        (CheckKind.SPAN, find_spans(plan)),
    ):
        checks = [build_pair_check(plan, kind, pair) for pair in pairs]
        count = Counter(check.key for check in checks)
        yield from (check for check in checks if count[check.key] == 1)


def build_pair_check(plan: Plan, kind: CheckKind, pair: NeighbourPair) -> Check:
    """Build the bay or span check of two neighbouring positions.

    It is read between the points where the two reference lines meet the steel line, or
    at the points of point positions.
    """
    marks = plan.positions[pair.first].mark, plan.positions[pair.second].mark
    return Check(
        key=CheckKey.for_pair(kind, marks),
        kind=kind,
        nominal=pair.nominal_mm,
        required=False,
        marks=marks,
    )


def build_diagonal_check(plan: Plan, ends: tuple[str, str], *, required: bool) -> Check:
    """Build the diagonal check between two corners."""
    return Check(
        key=CheckKey.for_corners(CheckKind.DIAGONAL, ends),
        kind=CheckKind.DIAGONAL,
        nominal=corner_distance(plan, ends),
        corners=ends,
        required=required,
    )


def _generate_notch_checks(plan: Plan) -> Iterator[Check]:
    # No release waits for them: an open wall has no notch.
    if plan.notch is None:
        return
    for wall in list_walls(plan):
        for kind, nominal in (
            (CheckKind.NOTCH_WIDTH, plan.notch.width),
            (CheckKind.NOTCH_DEPTH, plan.notch.depth),
        ):
            yield Check(
                key=CheckKey.for_corners(kind, wall),
                kind=kind,
                nominal=nominal,
                corners=wall,
                required=False,
            )
