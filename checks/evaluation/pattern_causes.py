"""Likely causes in a rod pattern: turned, exchanged, a sign lost, to the rod's edge.

What may be left over, and that a whole group must agree, is ours.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray
from checks.evaluation.failing_checks import (
    FailingChecks,
    LikelyCause,
    capitalize_first,
)
from jobs.anchor_plan.check_keys import CheckKind

EDGE_TOLERANCE_MM = 1.6  # how well half a rod must be matched, in the middle of many
MIN_WALL_SHARE = 0.6  # share of a wall's readings that must tell the same story


def find_turned_details(failing: FailingChecks) -> Iterator[LikelyCause]:
    """A detail set the wrong way round."""
    evaluation = failing.evaluation
    rods, as_built = evaluation.rods, evaluation.as_built
    groups = failing.rows_by_mark(CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
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
                "detail_turned",
                rows,
                f"The rods of {group.position.mark} are where detail"
                f" {group.detail.name} {way} would put them.",
            )


def find_swapped_readings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Two readings written down the wrong way round, or rods numbered another way."""
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
            both = [rows[i] for i in pair]
            names = capitalize_first(
                " and ".join(failing.check(row).description for row in both)
            )
            yield failing.explain(
                "exchanged",
                both,
                f"{names} fit the plan with their readings exchanged.",
            )


def _find_renumbered_rods(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Rods that stand where the plan has rods, only under other numbers.

    Of more than two readings: two alone are a pair written the wrong way round.
    """
    rods, as_built = failing.evaluation.rods, failing.evaluation.as_built
    groups = failing.rows_by_mark(CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
    for group in rods.groups:
        rows = groups.get(group.position.mark, [])
        if len(rows) < 3 or not as_built.determined[group.rows].all():
            continue
        planned = rods.planned[group.rows]
        built = planned + as_built.from_line[group.rows]
        apart = np.linalg.norm(built[:, None] - planned[None, :], axis=2)
        stands = apart.argmin(axis=1)
        tolerance = float(failing.tolerances(rows).max())
        if np.unique(stands).size < len(stands) or apart.min(axis=1).max() > tolerance:
            continue
        moved = np.flatnonzero(stands != np.arange(len(stands)))
        if not moved.size:
            continue
        said = ", ".join(f"rod {i + 1} where rod {stands[i] + 1} is" for i in moved)
        yield failing.explain(
            "exchanged",
            rows,
            f"The rods of {group.position.mark} fit the plan with their readings"
            f" exchanged: {said}. They were numbered another way round.",
        )


def find_lost_signs(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Offsets as long as planned, to the other side of the reference line.

    Only where another rod was read on its own side: with none there, the detail may be
    turned.
    """
    table, value = failing.evaluation.table, failing.evaluation.value
    for mark, bad in failing.rows_by_mark(CheckKind.OFFSET).items():
        every = failing.measured_rows_at(CheckKind.OFFSET, mark)
        if not (table.nominal[every] * value[every] > 0.0).any():
            continue
        nominal = failing.evaluation.table.nominal[bad]
        mirrored = np.abs(failing.evaluation.value[bad] + nominal)
        near = mirrored <= failing.tolerances(bad)
        rows = [row for row, yes in zip(bad, near.tolist(), strict=True) if yes]
        if rows:
            numbers = [str(failing.check(row).rods[0]) for row in rows]
            yield failing.explain(
                "wrong_side",
                rows,
                f"As long as planned, to the other side of the reference line: offset"
                f" of rod {', '.join(numbers)} at {mark}. Its sign was lost.",
            )


def _rows_by_rod(failing: FailingChecks) -> list[list[int]]:
    """Setback and offset of one rod, where both are bad."""
    rods: dict[tuple[str | None, tuple[int, ...]], list[int]] = defaultdict(list)
    for row in failing.unexplained_rows(CheckKind.SETBACK, CheckKind.OFFSET):
        check = failing.check(row)
        rods[check.mark, check.rods].append(row)
    return [rows for rows in rods.values() if len(rows) == 2]


def _nominal_signs(failing: FailingChecks, rows: Sequence[int]) -> FloatArray:
    """-1 where an offset to the other side meets a setback: the side is not read.

    Among offsets alone the side counts: there it is what was exchanged.
    """
    kinds = {failing.check(row).kind for row in rows}
    nominal = failing.evaluation.table.nominal[list(rows)]
    if kinds != {CheckKind.SETBACK, CheckKind.OFFSET}:
        return np.ones(len(rows))
    return np.where(nominal < 0.0, -1.0, 1.0)


def find_setbacks_to_rod_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """All setbacks of a wall off by half a rod: read to the rods' edges.

    One pattern alone may really stand half a rod off; a whole wall of them does not.
    """
    for wall, bad in failing.rows_by_wall(CheckKind.SETBACK).items():
        listed = failing.measured_rows_on_wall(CheckKind.SETBACK, wall)
        for sign, edge in ((1.0, "far"), (-1.0, "near")):
            off = failing.deviations(bad) - sign * failing.rod_diameters(bad) / 2.0
            near = np.abs(off) <= failing.tolerances(bad)
            rows = [row for row, yes in zip(bad, near.tolist(), strict=True) if yes]
            half = failing.rod_diameters(rows) / 2.0
            if (
                len({failing.check(row).mark for row in rows}) >= 2
                and len(rows) >= MIN_WALL_SHARE * len(listed)
                and _all_deviate_by(failing, rows, sign * half)
            ):
                yield failing.explain(
                    "rod_edge",
                    rows,
                    f"The setbacks of wall {'-'.join(wall)} are off by half a rod,"
                    f" {failing.length_text(half[0])}: read to the {edge} edge of the rod,"
                    " not its centre.",
                )


def find_offsets_to_rod_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Offsets of a position all short, or all long, by half a rod on either side.

    On either side of the reference line: a pattern that stands off goes one way.
    """
    for mark, rows in failing.rows_by_mark(CheckKind.OFFSET).items():
        side = np.sign(failing.evaluation.table.nominal[rows])
        listed = failing.measured_rows_at(CheckKind.OFFSET, mark)
        if len(rows) < len(listed) or not {-1.0, 1.0} <= set(side.tolist()):
            continue
        half = failing.rod_diameters(rows) / 2.0
        for sign, edge in ((1.0, "far"), (-1.0, "near")):
            if _all_deviate_by(failing, rows, sign * side * half):
                yield failing.explain(
                    "rod_edge",
                    rows,
                    f"Every offset of {mark} is off by half a rod,"
                    f" {failing.length_text(half[0])}, away from the others: read to the"
                    f" {edge} edge of the rod, not its centre.",
                )


def _all_deviate_by(
    failing: FailingChecks, rows: list[int], amount: FloatArray
) -> bool:
    """Whether deviations are these amounts, each roughly and most closely. [mm]"""
    off = failing.deviations(rows) - amount
    roughly = bool((np.abs(off) <= failing.tolerances(rows)).all())
    return roughly and abs(float(np.median(off))) <= EDGE_TOLERANCE_MM
