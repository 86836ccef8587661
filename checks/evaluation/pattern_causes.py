"""Likely causes in a rod pattern: turned, exchanged, a sign lost, to the rod's edge.

The residuals allowed, and that a whole group must agree, are project choices.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray
from checks.evaluation.failing_checks import (
    FailingChecks,
    capitalize_first,
    select_rows,
)
from checks.evaluation.likely_cause import CauseKind, LikelyCause
from checks.evaluation.rod_positions import PATTERN_KINDS
from jobs.anchor_plan.check_keys import CheckKind

EDGE_TOLERANCE_MM = 1.6
"""Largest median residual against half a rod, 1/16 in."""

MIN_RENUMBERED_READINGS = 3
"""Two readings alone are a pair written the wrong way round."""


def find_turned_details(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find details that were set the wrong way round."""
    evaluation = failing.evaluation
    rods, as_built = evaluation.rods, evaluation.as_built
    groups = failing.rows_by_mark(*PATTERN_KINDS)
    for group in rods.groups:
        rows = groups.get(group.position.mark, [])
        if len(rows) < 2 or not as_built.determined[group.rows].all():
            continue
        planned = rods.planned[group.rows]
        built = planned + as_built.from_line[group.rows]
        tolerance = float(failing.tolerances(rows).max())
        way = causes.find_wrong_orientation(planned, built, tolerance)
        if way:
            yield failing.explain(
                CauseKind.DETAIL_TURNED,
                rows,
                f"The rods of {group.position.mark} stand where detail"
                f" {group.detail.name} {way} would put them.",
            )


def find_swapped_readings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find readings written the wrong way round, or rods numbered another way."""
    yield from _find_renumbered_rods(failing)
    groups = [
        *failing.rows_by_wall(CheckKind.LINE).values(),
        failing.unexplained_rows(CheckKind.WALL),
        failing.unexplained_rows(CheckKind.DIAGONAL),
        *failing.rows_by_mark(CheckKind.SETBACK).values(),
        *failing.rows_by_mark(CheckKind.OFFSET).values(),
        *failing.rows_by_mark(CheckKind.GAGE).values(),
        *_rows_by_rod(failing),
    ]
    for rows in groups:
        sign = _nominal_signs(failing, rows)
        pairs = causes.find_swapped_pairs(
            sign * failing.evaluation.table.nominal[rows],
            sign * failing.evaluation.value[rows],
            failing.tolerances(rows),
        )
        for pair in pairs.tolist():
            swapped = [rows[i] for i in pair]
            names = " and ".join(failing.describe(row) for row in swapped)
            yield failing.explain(
                CauseKind.EXCHANGED,
                swapped,
                f"{capitalize_first(names)} fit the plan if their readings are"
                " exchanged.",
            )


def _find_renumbered_rods(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find rods that stand where the plan has rods, but under other numbers."""
    rods, as_built = failing.evaluation.rods, failing.evaluation.as_built
    groups = failing.rows_by_mark(*PATTERN_KINDS)
    for group in rods.groups:
        rows = groups.get(group.position.mark, [])
        if (
            len(rows) < MIN_RENUMBERED_READINGS
            or not as_built.determined[group.rows].all()
        ):
            continue
        planned = rods.planned[group.rows]
        built = planned + as_built.from_line[group.rows]
        distance = np.linalg.norm(built[:, None] - planned[None, :], axis=2)
        nearest = distance.argmin(axis=1)
        tolerance = float(failing.tolerances(rows).max())
        one_to_one = np.unique(nearest).size == len(nearest)
        if not one_to_one or distance.min(axis=1).max() > tolerance:
            continue
        moved = np.flatnonzero(nearest != np.arange(len(nearest)))
        if not moved.size:
            continue
        swaps = ", ".join(f"rod {i + 1} where rod {nearest[i] + 1} is" for i in moved)
        yield failing.explain(
            CauseKind.EXCHANGED,
            rows,
            f"The rods of {group.position.mark} fit the plan if their readings are"
            f" exchanged: {swaps}. They were numbered another way round.",
        )


def find_lost_signs(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find offsets that are as long as planned, but on the other side of the line.

    Another rod must have been read on its own side: without one, the detail may have
    been turned.
    """
    nominal, value = failing.evaluation.table.nominal, failing.evaluation.value
    for mark, offsets in failing.rows_by_mark(CheckKind.OFFSET).items():
        every = failing.measured_rows_at(CheckKind.OFFSET, mark)
        if not (nominal[every] * value[every] > 0.0).any():
            continue
        mirrored = np.abs(value[offsets] + nominal[offsets])
        rows = select_rows(offsets, mirrored <= failing.tolerances(offsets))
        if rows:
            numbers = ", ".join(str(failing.check(row).rods[0]) for row in rows)
            yield failing.explain(
                CauseKind.WRONG_SIDE,
                rows,
                f"The offset of rod {numbers} at {mark} is as long as planned, but on"
                " the other side of the reference line. The sign was lost.",
            )


def _rows_by_rod(failing: FailingChecks) -> list[list[int]]:
    """Return setback and offset of each rod where both fail."""
    rods: dict[tuple[str | None, tuple[int, ...]], list[int]] = defaultdict(list)
    for row in failing.unexplained_rows(CheckKind.SETBACK, CheckKind.OFFSET):
        check = failing.check(row)
        rods[check.mark, check.rods].append(row)
    return [rows for rows in rods.values() if len(rows) == 2]


def _nominal_signs(failing: FailingChecks, rows: Sequence[int]) -> FloatArray:
    """Return -1 for an offset to the negative side that is compared with a setback.

    A setback has no side, so only the lengths can have been exchanged. Among offsets
    alone the side counts.
    """
    kinds = {failing.check(row).kind for row in rows}
    nominal = failing.evaluation.table.nominal[list(rows)]
    if kinds != {CheckKind.SETBACK, CheckKind.OFFSET}:
        return np.ones(len(rows))
    return np.where(nominal < 0.0, -1.0, 1.0)


def find_setbacks_to_rod_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find walls whose setbacks are all off by half a rod: read to the rod's edge.

    One pattern alone may really stand half a rod off; a whole wall of them does not.
    """
    kind = CheckKind.SETBACK
    for wall, setbacks in failing.rows_by_wall(kind).items():
        for sign, edge in ((1.0, "far"), (-1.0, "near")):
            half = failing.rod_diameters(setbacks) / 2.0
            residual = np.abs(failing.deviations(setbacks) - sign * half)
            rows = select_rows(setbacks, residual <= failing.tolerances(setbacks))
            half = failing.rod_diameters(rows) / 2.0
            if (
                failing.count_positions(rows) >= 2
                and failing.covers_most_of_wall(kind, wall, rows)
                and _all_deviate_by(failing, rows, sign * half)
            ):
                yield failing.explain(
                    CauseKind.ROD_EDGE,
                    rows,
                    f"The setbacks of wall {'-'.join(wall)} are off by half a rod,"
                    f" {failing.length_text(half[0])}. They were read to the {edge}"
                    " edge of the rod, not its centre.",
                )


def find_offsets_to_rod_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find positions whose offsets are all short, or all long, by half a rod.

    There must be offsets on either side of the reference line: a pattern that really
    stands off does so in one direction.
    """
    for mark, rows in failing.rows_by_mark(CheckKind.OFFSET).items():
        side = np.sign(failing.evaluation.table.nominal[rows])
        listed = failing.measured_rows_at(CheckKind.OFFSET, mark)
        if len(rows) < len(listed) or not {-1.0, 1.0} <= set(side.tolist()):
            continue
        half = failing.rod_diameters(rows) / 2.0
        for sign, edge in ((1.0, "far"), (-1.0, "near")):
            if _all_deviate_by(failing, rows, sign * side * half):
                way = "long" if sign > 0 else "short"
                yield failing.explain(
                    CauseKind.ROD_EDGE,
                    rows,
                    f"Every offset of {mark} is {way} by half a rod,"
                    f" {failing.length_text(half[0])}. They were read to the {edge}"
                    " edge of the rod, not its centre.",
                )


def _all_deviate_by(
    failing: FailingChecks, rows: list[int], amount: FloatArray
) -> bool:
    """Return True where deviations are near their amounts, the median nearest. [mm]"""
    residual = failing.deviations(rows) - amount
    each_near = bool((np.abs(residual) <= failing.tolerances(rows)).all())
    return each_near and abs(float(np.median(residual))) <= EDGE_TOLERANCE_MM
