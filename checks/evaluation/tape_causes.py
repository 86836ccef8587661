"""Likely causes with the tape: misread, its 1 ft mark, the wrong edge, the flange.

The residuals allowed, and that a whole group must agree, are project choices. A whole
pattern can really stand an inch or half a rod off, so one position is not enough where
the mistake would show at several: no cause is better than a false one.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray
from checks.engine.constants import FOOT_MM
from checks.evaluation.check_calculation import correct_tape_values
from checks.evaluation.failing_checks import (
    MIN_WALL_SHARE,
    FailingChecks,
    capitalize_first,
    select_rows,
)
from checks.evaluation.likely_cause import CauseKind, LikelyCause
from checks.evaluation.rod_positions import PATTERN_KINDS
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.geometry import outline_points, wall_length

OUTLINE_KINDS = (CheckKind.DIAGONAL, CheckKind.WALL)
NEIGHBOUR_KINDS = (CheckKind.BAY, CheckKind.SPAN)
LENGTH_KINDS = (
    *OUTLINE_KINDS,
    CheckKind.LINE,
    *NEIGHBOUR_KINDS,
    *PATTERN_KINDS,
    CheckKind.PROJECTION,
)

INCH_TOLERANCE_MM = 1.6
"""Residual of a rod against an inch, 1/16 in: tight, as a rod may really stand off."""

FLANGE_RANGE_MM = (25.0, 130.0)
"""Half-widths and widths that a flange may have."""

FLANGE_TOLERANCE_MM = 3.2
"""Largest difference of flange offsets along one wall, 1/8 in."""

W_TIE_RATIO = 1e-6
"""Relative difference below which two |w| are equal."""

MIN_CORNER_OPENING = 1e-3
"""1 + cosine of the turn at a corner; below it the outline turns back on itself."""


def find_misread_repeats(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find disagreeing repeats of which some are a foot or an inch off the plan."""
    evaluation = failing.evaluation
    for row in failing.contradicted_rows(*LENGTH_KINDS):
        readings = evaluation.observations.readings[row]
        tolerance = float(failing.tolerances([row])[0])
        values = correct_tape_values(evaluation.plan, evaluation.table, row, readings)
        deviation = values - evaluation.table.nominal[row]
        good = np.abs(deviation) <= tolerance
        amount = causes.find_misread_amounts(deviation, tolerance)
        wrong = (amount != 0.0) & ~good
        # A repeat that is neither right nor a plain misread leaves no cause to name.
        if good.any() and wrong.any() and (good | wrong).all():
            first = int(np.flatnonzero(wrong)[0])
            cause = failing.explain(
                CauseKind.MISREAD,
                [row],
                f"One reading of {failing.describe(row)}, {readings[first].text}, is"
                f" {failing.length_text(amount[first])} off; the others agree with the"
                " plan. It was misread, or the tape was held at its 1 ft mark.",
            )
            yield replace(
                cause, readings=tuple(readings[i].id for i in np.flatnonzero(wrong))
            )


def find_foot_marks(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find walls with several running dimensions a foot long: the tape's 1 ft mark."""
    for wall, rows in failing.rows_by_wall(CheckKind.LINE).items():
        residual = np.abs(failing.deviations_as_read(rows) - FOOT_MM)
        margin = causes.clear_margin(failing.tolerances(rows), FOOT_MM)
        lines = select_rows(rows, residual <= margin)
        if len(lines) >= 2:
            measured = failing.measured_rows_on_wall(CheckKind.LINE, wall)
            every = len(lines) == len(measured)
            which = "Every running dimension" if every else f"{len(lines)} lines"
            yield failing.explain(
                CauseKind.FOOT_MARK,
                lines,
                f"{which} of wall {'-'.join(wall)} {'is' if every else 'are'} a foot"
                " long. The tape was held at its 1 ft mark.",
            )


def find_other_corner(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find lines that fit the plan if they were read from the wall's other corner.

    Lines near the middle of a wall are left out: there both corners give much the same
    length, and the concrete itself may be off by the difference.
    """
    for wall, rows in failing.rows_by_wall(CheckKind.LINE).items():
        length = wall_length(failing.evaluation.plan, wall)
        nominal = failing.evaluation.table.nominal[rows]
        residual = np.abs(failing.evaluation.value[rows] - (length - nominal))
        off_centre = np.abs(length - 2.0 * nominal) > FOOT_MM
        explained = off_centre & (residual <= failing.tolerances(rows))
        # A line that fails in another way may have been exchanged with one of these.
        for row in rows if explained.all() else ():
            yield failing.explain(
                CauseKind.OTHER_CORNER,
                [row],
                f"{capitalize_first(failing.describe(row))} fits the plan if it was"
                f" read from the other corner of wall {'-'.join(wall)}.",
            )


def find_outer_edge(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find walls whose readings are all long by the notch: from the concrete's edge."""
    notch = failing.evaluation.plan.notch
    if notch is None:
        return
    for kind, edge in ((CheckKind.SETBACK, "steel line"), (CheckKind.LINE, "corner")):
        for wall, rows in failing.rows_by_wall(kind).items():
            residual = np.abs(failing.deviations_as_read(rows) - notch.width)
            margin = causes.clear_margin(failing.tolerances(rows), notch.width)
            long = select_rows(rows, residual <= margin)
            if failing.count_positions(long) >= 2 and failing.covers_most_of_wall(
                kind, wall, long
            ):
                every = len(long) == len(failing.measured_rows_on_wall(kind, wall))
                yield failing.explain(
                    CauseKind.OUTER_EDGE,
                    long,
                    f"{'Every' if every else 'Almost every'} {kind} of wall"
                    f" {'-'.join(wall)} is long by the notch,"
                    f" {failing.length_text(notch.width)}. They were measured from the"
                    f" outer edge of the concrete, not the {edge}.",
                )


def find_out_to_out(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find an outline that is long by the notch on either side: read out to out."""
    evaluation = failing.evaluation
    if evaluation.plan.notch is None:
        return
    rows = failing.unexplained_rows(*OUTLINE_KINDS)
    outer = offset_outline(outline_points(evaluation.plan), evaluation.plan.notch.width)
    index = {corner.name: i for i, corner in enumerate(evaluation.plan.outline)}
    ends = np.array([[index[name] for name in failing.check(r).corners] for r in rows])
    ends = ends.reshape(-1, 2).astype(int)
    lengths = np.linalg.norm(outer[ends[:, 0]] - outer[ends[:, 1]], axis=1)
    excess = lengths - evaluation.table.nominal[rows]
    residual = np.abs(failing.deviations(rows) - excess)
    margin = causes.clear_margin(failing.tolerances(rows), excess)
    long = select_rows(rows, residual <= margin)
    measured = len(evaluation.squareness.length_rows)
    if len(long) >= 2 and len(long) >= MIN_WALL_SHARE * measured:
        notch = failing.length_text(evaluation.plan.notch.width)
        yield failing.explain(
            CauseKind.OUTER_EDGE,
            long,
            f"Walls and diagonals are long by the notch, {notch}, at either end. They"
            " were measured out to out of the concrete, not on the steel line.",
        )


def find_flange_readings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find positions with a web that are all off by one amount: read to the flange."""
    # A setback is square to the web: the flange does not show in it.
    for kind in (CheckKind.LINE, CheckKind.OFFSET):
        for wall, every in failing.rows_by_wall(kind).items():
            rows = [row for row in every if failing.detail(row).reference == "web"]
            size = np.abs(failing.deviations(rows))
            shared = causes.find_common_offset(size, FLANGE_TOLERANCE_MM)
            one_way = np.unique(np.sign(failing.deviations(rows))).size == 1
            if (
                one_way
                and failing.count_positions(rows) >= 2
                and FLANGE_RANGE_MM[0] <= shared <= FLANGE_RANGE_MM[1]
            ):
                yield failing.explain(
                    CauseKind.FLANGE_NOT_WEB,
                    rows,
                    f"All positions of wall {'-'.join(wall)} with a web are"
                    f" {failing.length_text(shared)} off along the wall. They were"
                    " measured to the flange, not the web.",
                )


def find_misreadings(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find single lengths a foot or an inch off, where nothing else contradicts it."""
    rows = failing.unexplained_rows(*LENGTH_KINDS)
    amount = causes.find_misread_amounts(
        failing.deviations(rows), failing.tolerances(rows)
    )
    estimated = _estimated_errors(failing)
    for row, by in zip(rows, amount.tolist(), strict=True):
        if by == 0.0 or not _is_isolated_error(failing, row, by, estimated):
            continue
        yield failing.explain(
            CauseKind.MISREAD, [row], _explain_misread(failing, row, by)
        )


def _explain_misread(failing: FailingChecks, row: int, by: float) -> str:
    """Explain a length a foot or an inch off, with what else it can come from."""
    unit = "foot" if abs(by) == FOOT_MM else "inch"
    way = "long" if by > 0 else "short"
    start = f"{capitalize_first(failing.describe(row))} is one {unit} {way}. "
    if unit == "inch" and failing.check(row).kind is CheckKind.LINE:
        return (
            f"{start}The inch was misread, or {failing.check(row).mark} stands an inch"
            " off: nothing else checks a line."
        )
    # Only a whole foot too long can also come from the tape's 1 ft mark.
    or_mark = ", or the tape was held at its 1 ft mark" if by == FOOT_MM else ""
    return f"{start}The {unit} was misread{or_mark}."


def _estimated_errors(failing: FailingChecks) -> dict[int, float]:
    """Return the error of each wall and diagonal if all others are right. [mm]"""
    square = failing.evaluation.squareness
    error = causes.estimate_errors(
        square.adjustment.residuals_mm, square.adjustment.redundancy
    )
    return dict(zip(square.length_rows.tolist(), error.tolist(), strict=True))


def _is_isolated_error(
    failing: FailingChecks, row: int, by: float, estimated: dict[int, float]
) -> bool:
    """Return True where the other readings confirm that this one is wrong.

    The other lengths check a length of the outline, the rest of the pattern a rod, the
    lines or the outline a bay or span.
    Nothing checks a projection: rods really stand an inch low, but not a foot.
    """
    kind = failing.check(row).kind
    if kind in OUTLINE_KINDS:
        error = estimated.get(row, float("nan"))
        slack = min(2.0 * float(failing.tolerances([row])[0]), abs(by) / 2.0)
        if np.isnan(error):  # nothing checks it, but concrete is never a foot out
            return abs(by) == FOOT_MM
        return abs(error - by) <= slack and _has_largest_w(failing, row)
    if kind in NEIGHBOUR_KINDS:
        lengths = failing.evaluation.neighbour_lengths
        predicted = float(lengths.predicted[lengths.rows == row][0])
        if not np.isnan(predicted):
            own = float(failing.deviations([row])[0]) - predicted
            return abs(own - by) <= float(failing.tolerances([row])[0])
    if abs(by) == FOOT_MM:
        return True
    if kind is CheckKind.LINE:
        return _is_lone_line_error(failing, row, by)
    if kind not in PATTERN_KINDS:
        return False
    others = [other for other in failing.pattern_rows(row) if other != row]
    alike = [other for other in others if failing.check(other).kind is kind]
    if not alike or any(other in failing.failing_rows for other in others):
        return False
    # The pattern as a whole may be a little off: only the rod's own deviation counts.
    pattern = float(np.median(failing.deviations(alike)))
    own = float(failing.deviations([row])[0]) - pattern
    return abs(own - by) <= INCH_TOLERANCE_MM


def _is_lone_line_error(failing: FailingChecks, row: int, by: float) -> bool:
    """Return True where one line of its wall is an inch off, and nobody confirmed it.

    Only a bay checks a line, and patterns really stand an inch off. The hint costs
    nothing: a lone reading is taken again before anything is cut, whatever its cause.
    """
    wall, evaluation = failing.wall(row), failing.evaluation
    lengths = evaluation.neighbour_lengths
    confirmed = any(
        row in sources and row_of_bay in failing.failing_rows and not contradicts
        for row_of_bay, sources, contradicts in zip(
            lengths.rows.tolist(), lengths.sources, lengths.contradicts, strict=True
        )
    )
    if confirmed or evaluation.observations.repeated_independently[row]:
        return False
    alike = [] if wall is None else failing.measured_rows_on_wall(CheckKind.LINE, wall)
    others = [other for other in alike if other != row]
    # A wall of lines that are off together is judged by what differs from them.
    common = float(np.median(failing.deviations(others))) if others else 0.0
    own = float(failing.deviations([row])[0]) - common
    noise = float(np.nan_to_num(evaluation.sigma[row]))
    return abs(own - by) <= INCH_TOLERANCE_MM + noise


def _has_largest_w(failing: FailingChecks, row: int) -> bool:
    """Return True where no other length of the outline has a larger |w|.

    One wrong length raises the |w| of the others, but less than its own.
    """
    square = failing.evaluation.squareness
    size = np.abs(np.nan_to_num(square.adjustment.w))
    return bool(
        (size[square.length_rows == row] >= (1.0 - W_TIE_RATIO) * size.max()).all()
    )


def offset_outline(corners: FloatArray, by_mm: float) -> FloatArray:
    """Compute the corners of an outline with every wall moved outwards.

    Two lines shifted by their normals a, b meet at the corner plus
    by (a + b) / (1 + a . b); NaN where the outline turns back on itself
    (plane geometry).

    Parameters
    ----------
    corners : array, shape (n, 2)
        Counter-clockwise. [mm]
    by_mm : float
        Distance that each wall moves. [mm]
    """
    along = np.roll(corners, -1, axis=0) - corners
    along = along / np.hypot(along[:, 0], along[:, 1])[:, None]
    out = np.stack([along[:, 1], -along[:, 0]], axis=1)
    before = np.roll(out, 1, axis=0)
    share = 1.0 + (out * before).sum(axis=1)
    share = np.where(share > MIN_CORNER_OPENING, share, np.nan)
    return np.asarray(corners + by_mm * (out + before) / share[:, None])
