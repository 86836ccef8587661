"""Likely causes with the tape: misread, its 1 ft mark, the wrong edge, the flange.

What may be left over, and that a whole group must agree, is ours. A whole pattern can
really stand an inch or half a rod off, so that what one position says is not enough
where more would have to say the same; better no idea than a false accusation.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray
from checks.evaluation.check_calculation import correct_tape_values
from checks.evaluation.failing_checks import (
    FailingChecks,
    LikelyCause,
    Wall,
    capitalize_first,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.geometry import outline_points, wall_length

OUTLINE_KINDS = (CheckKind.DIAGONAL, CheckKind.WALL)
LENGTH_KINDS = (
    *OUTLINE_KINDS,
    CheckKind.LINE,
    CheckKind.SETBACK,
    CheckKind.OFFSET,
    CheckKind.GAGE,
    CheckKind.PROJECTION,
)
ROD_KINDS = (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
INCH_TOLERANCE_MM = 1.6  # of a rod's inch, 1/16 in: a rod may really stand off
FLANGE_RANGE_MM = (25.0, 130.0)  # half-widths and widths a flange may have
FLANGE_TOLERANCE_MM = 3.2
MIN_WALL_SHARE = 0.6  # share of a wall's readings that must tell the same story
W_TIE_RATIO = 1e-6  # by which two |w| may differ and be one
MIN_CORNER_OPENING = (
    1e-3  # 1 + cosine of the turn, below which a corner is a needle's point
)


def find_misread_repeats(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Of readings that disagree, the one that is a foot or an inch off the plan."""
    evaluation = failing.evaluation
    for row in failing.unexplained_rows(*LENGTH_KINDS):
        readings = evaluation.observations.readings[row]
        if evaluation.verdicts[row] != "remeasure" or len(readings) < 2:
            continue
        tolerance = float(failing.tolerances([row])[0])
        values = correct_tape_values(evaluation.plan, evaluation.table, row, readings)
        off = values - evaluation.table.nominal[row]
        good = np.abs(off) <= tolerance
        amount = causes.find_misreadings(off, tolerance)
        wrong = (amount != 0.0) & ~good
        if good.any() and wrong.any() and (good | wrong).all():
            first = int(np.flatnonzero(wrong)[0])
            cause = failing.explain(
                "misread",
                [row],
                f"One reading of {failing.check(row).description}, {readings[first].text}, is"
                f" {failing.length_text(amount[first])} off where the others agree with"
                " the plan: a misread, or the tape held at its 1 ft mark.",
            )
            yield replace(
                cause, readings=tuple(readings[i].id for i in np.flatnonzero(wrong))
            )


def find_foot_marks(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Several running dimensions of a wall a foot long: the tape's 1 ft mark."""
    for wall, rows in failing.rows_by_wall(CheckKind.LINE).items():
        off = np.abs(failing.deviations_as_read(rows) - causes.FOOT_MM)
        left_over = causes.clear_margin(failing.tolerances(rows), causes.FOOT_MM)
        here = _select_rows(rows, off <= left_over)
        if len(here) >= 2:
            every = len(here) == len(
                failing.measured_rows_on_wall(CheckKind.LINE, wall)
            )
            which = "Every running dimension" if every else f"{len(here)} lines"
            yield failing.explain(
                "foot_mark",
                here,
                f"{which} of wall {'-'.join(wall)} {'is' if every else 'are'} a foot"
                " long: the tape was held at its 1 ft mark.",
            )


def find_other_corner(failing: FailingChecks) -> Iterator[LikelyCause]:
    """A line as long as the wall less what is planned: read from its other end.

    Not within a foot of that end's own length, as in the middle of a wall, where
    from which end it was read makes no difference that concrete could not.
    """
    for wall, rows in failing.rows_by_wall(CheckKind.LINE).items():
        length = wall_length(failing.evaluation.plan, wall)
        nominal = failing.evaluation.table.nominal[rows]
        off = np.abs(failing.evaluation.value[rows] - (length - nominal))
        apart = np.abs(length - 2.0 * nominal) > causes.FOOT_MM
        near = apart & (off <= failing.tolerances(rows))
        # another line that is out some other way may have been exchanged with it
        for row in rows if near.all() else ():
            yield failing.explain(
                "other_corner",
                [row],
                f"{capitalize_first(failing.check(row).description)} fits the plan if it was read from"
                f" the other corner of wall {'-'.join(wall)}.",
            )


def find_outer_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """All readings of a wall long by the notch: taken from the concrete's edge."""
    notch = failing.evaluation.plan.notch
    if notch is None:
        return
    for kind, edge in ((CheckKind.SETBACK, "steel line"), (CheckKind.LINE, "corner")):
        for wall, rows in failing.rows_by_wall(kind).items():
            off = np.abs(failing.deviations_as_read(rows) - notch.width)
            left_over = causes.clear_margin(failing.tolerances(rows), notch.width)
            here = _select_rows(rows, off <= left_over)
            if _count_positions(failing, here) >= 2 and _covers_most_of_wall(
                failing, kind, wall, here
            ):
                every = len(here) == len(failing.measured_rows_on_wall(kind, wall))
                yield failing.explain(
                    "outer_edge",
                    here,
                    f"{'Every' if every else 'Almost every'} {kind} of wall"
                    f" {'-'.join(wall)} is long by the notch,"
                    f" {failing.length_text(notch.width)}: measured from the outer edge of"
                    f" the concrete, not the {edge}.",
                )


def find_out_to_out(failing: FailingChecks) -> Iterator[LikelyCause]:
    """The outline long by the notch on either side: the concrete, out to out."""
    evaluation = failing.evaluation
    if evaluation.plan.notch is None:
        return
    rows = failing.unexplained_rows(*OUTLINE_KINDS)
    outer = offset_outline(outline_points(evaluation.plan), evaluation.plan.notch.width)
    place = {corner.name: i for i, corner in enumerate(evaluation.plan.outline)}
    ends = np.array([[place[name] for name in failing.check(r).corners] for r in rows])
    ends = ends.reshape(-1, 2).astype(int)
    lengths = np.linalg.norm(outer[ends[:, 0]] - outer[ends[:, 1]], axis=1)
    longer = lengths - evaluation.table.nominal[rows]
    off = np.abs(failing.deviations(rows) - longer)
    here = _select_rows(
        rows, off <= causes.clear_margin(failing.tolerances(rows), longer)
    )
    if len(here) >= 2 and len(here) >= MIN_WALL_SHARE * len(
        evaluation.squareness.length_rows
    ):
        yield failing.explain(
            "outer_edge",
            here,
            "Walls and diagonals are long by the notch,"
            f" {failing.length_text(evaluation.plan.notch.width)}, on either side: measured"
            " out to out of the concrete, not on the steel line.",
        )


def find_flange_readings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Web-referenced positions of a wall off by one amount along: to the flange."""
    for kind in (CheckKind.LINE, CheckKind.OFFSET):
        for wall, bad in failing.rows_by_wall(kind).items():
            rows = [row for row in bad if failing.detail(row).reference == "web"]
            size = np.abs(failing.deviations(rows))
            shared = causes.find_common_offset(size, FLANGE_TOLERANCE_MM)
            one_way = np.unique(np.sign(failing.deviations(rows))).size == 1
            if (
                one_way
                and _count_positions(failing, rows) >= 2
                and FLANGE_RANGE_MM[0] <= shared <= FLANGE_RANGE_MM[1]
            ):
                yield failing.explain(
                    "flange_not_web",
                    rows,
                    f"Positions of wall {'-'.join(wall)} measured to a web are all"
                    f" {failing.length_text(shared)} off along it: measured to the flange,"
                    " not the web.",
                )


def find_misreadings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """A single length a foot or an inch off, where nothing else contradicts it."""
    rows = failing.unexplained_rows(*LENGTH_KINDS)
    amount = causes.find_misreadings(failing.deviations(rows), failing.tolerances(rows))
    estimated = _estimated_errors(failing)
    for row, by in zip(rows, amount.tolist(), strict=True):
        if by == 0.0 or not _is_isolated_error(failing, row, by, estimated):
            continue
        unit = "foot" if abs(by) == causes.FOOT_MM else "inch"
        mark = by == causes.FOOT_MM
        also = ", or the tape held at its 1 ft mark" if mark else ""
        yield failing.explain(
            "misread",
            [row],
            f"{capitalize_first(failing.check(row).description)} is one {unit}"
            f" {'long' if by > 0 else 'short'}:"
            f" the {unit} was misread{also}.",
        )


def _estimated_errors(failing: FailingChecks) -> dict[int, float]:
    """What each wall and diagonal would have to be wrong by, the others right. [mm]"""
    square = failing.evaluation.squareness
    error = causes.estimate_errors(
        square.adjustment.residuals_mm, square.adjustment.redundancy
    )
    return dict(zip(square.length_rows.tolist(), error.tolist(), strict=True))


def _is_isolated_error(
    failing: FailingChecks, row: int, by: float, estimated: dict[int, float]
) -> bool:
    """Whether what else was read bears out that this one reading is wrong.

    A length of the outline has the other lengths to say so; a rod the rest of its
    pattern. A line or a projection has nothing: patterns really stand an inch off
    and rods really stand an inch low, but neither a foot.
    """
    kind = failing.check(row).kind
    if kind in OUTLINE_KINDS:
        error = estimated.get(row, float("nan"))
        slack = min(2.0 * float(failing.tolerances([row])[0]), abs(by) / 2.0)
        if error != error:  # nothing checks it: concrete is never a foot out
            return abs(by) == causes.FOOT_MM
        return abs(error - by) <= slack and _has_largest_w(failing, row)
    if abs(by) == causes.FOOT_MM:
        return True
    if kind not in ROD_KINDS:
        return False
    others = [other for other in failing.pattern_rows(row) if other != row]
    alike = [other for other in others if failing.check(other).kind is kind]
    if not alike or any(other in failing.failing_rows for other in others):
        return False
    # The pattern as a whole stands a little off: what the rod is off it counts.
    pattern = float(np.median(failing.deviations(alike)))
    off = float(failing.deviations([row])[0]) - pattern
    return abs(off - by) <= INCH_TOLERANCE_MM


def _has_largest_w(failing: FailingChecks, row: int) -> bool:
    """Whether no other length of the outline has a larger |w|: theirs are its doing."""
    square = failing.evaluation.squareness
    size = np.abs(np.nan_to_num(square.adjustment.w))
    return bool(
        (size[square.length_rows == row] >= (1.0 - W_TIE_RATIO) * size.max()).all()
    )


def offset_outline(corners: FloatArray, by_mm: float) -> FloatArray:
    """Corners of an outline whose every wall stands further out by an amount.

    Two lines shifted by their normals a, b meet at the corner plus
    by (a + b) / (1 + a . b); NaN where the outline turns back on itself
    (plane geometry).

    Parameters
    ----------
    corners : array, shape (n, 2)
        Counter-clockwise. [mm]
    by_mm : float
        How far out each wall is set. [mm]
    """
    way = np.roll(corners, -1, axis=0) - corners
    way = way / np.hypot(way[:, 0], way[:, 1])[:, None]
    out = np.stack([way[:, 1], -way[:, 0]], axis=1)
    before = np.roll(out, 1, axis=0)
    share = 1.0 + (out * before).sum(axis=1)
    share = np.where(share > MIN_CORNER_OPENING, share, np.nan)
    return np.asarray(corners + by_mm * (out + before) / share[:, None])


def _select_rows(rows: list[int], which: np.ndarray) -> list[int]:
    return [row for row, yes in zip(rows, which.tolist(), strict=True) if yes]


def _count_positions(failing: FailingChecks, rows: Iterable[int]) -> int:
    return len({failing.check(row).mark for row in rows})


def _covers_most_of_wall(
    failing: FailingChecks, kind: CheckKind, wall: Wall, rows: list[int]
) -> bool:
    """Whether hardly a reading of this kind on the wall tells another story."""
    return len(rows) >= MIN_WALL_SHARE * len(failing.measured_rows_on_wall(kind, wall))
