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
from checks.evaluation.suspects import LikelyCause, Suspects, Wall, capital
from checks.evaluation.worked import corrected_values
from jobs.plan.geometry import outline_points, wall_length
from jobs.plan.sheet import Kind

OUTLINE = (Kind.DIAGONAL, Kind.WALL)
LENGTHS = (*OUTLINE, Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.GAGE, Kind.PROJECTION)
OF_A_ROD = (Kind.SETBACK, Kind.OFFSET, Kind.GAGE)
INCH_TOLERANCE_MM = 1.6  # of a rod's inch, 1/16 in: a rod may really stand off
FLANGE_MM = (25.0, 130.0)  # half-widths and widths a flange may have
FLANGE_TOLERANCE_MM = 3.2
MOST_OF_WALL = 0.6  # share of a wall's readings that must tell the same story
SAME_W = 1e-6  # by which two |w| may differ and be one
TURNS_BACK = 1e-3  # 1 + cosine of the turn, below which a corner is a needle's point


def repeats_misread(suspects: Suspects) -> Iterator[LikelyCause]:
    """Of readings that disagree, the one that is a foot or an inch off the plan."""
    judged = suspects.judged
    for row in suspects.rows(*LENGTHS):
        readings = judged.observed.readings[row]
        if judged.words[row] != "remeasure" or len(readings) < 2:
            continue
        tolerance = float(suspects.tolerance([row])[0])
        values = corrected_values(judged.plan, judged.table, row, readings)
        off = values - judged.table.nominal[row]
        good = np.abs(off) <= tolerance
        amount = causes.misread_by(off, tolerance)
        wrong = (amount != 0.0) & ~good
        if good.any() and wrong.any() and (good | wrong).all():
            first = int(np.flatnonzero(wrong)[0])
            cause = suspects.explain(
                "misread",
                [row],
                f"One reading of {suspects.check(row).said}, {readings[first].text}, is"
                f" {suspects.length(amount[first])} off where the others agree with"
                " the plan: a misread, or the tape held at its 1 ft mark.",
            )
            yield replace(
                cause, readings=tuple(readings[i].id for i in np.flatnonzero(wrong))
            )


def foot_mark(suspects: Suspects) -> Iterator[LikelyCause]:
    """Several running dimensions of a wall a foot long: the tape's 1 ft mark."""
    for wall, rows in suspects.by_wall(Kind.LINE).items():
        off = np.abs(suspects.as_read(rows) - causes.FOOT_MM)
        left_over = causes.clearly(suspects.tolerance(rows), causes.FOOT_MM)
        here = _chosen(rows, off <= left_over)
        if len(here) >= 2:
            every = len(here) == len(suspects.measured_on(Kind.LINE, wall))
            which = "Every running dimension" if every else f"{len(here)} lines"
            yield suspects.explain(
                "foot_mark",
                here,
                f"{which} of wall {'-'.join(wall)} {'is' if every else 'are'} a foot"
                " long: the tape was held at its 1 ft mark.",
            )


def other_corner(suspects: Suspects) -> Iterator[LikelyCause]:
    """A line as long as the wall less what is planned: read from its other end.

    Not within a foot of that end's own length, as in the middle of a wall, where
    from which end it was read makes no difference that concrete could not.
    """
    for wall, rows in suspects.by_wall(Kind.LINE).items():
        length = wall_length(suspects.judged.plan, wall)
        nominal = suspects.judged.table.nominal[rows]
        off = np.abs(suspects.judged.value[rows] - (length - nominal))
        apart = np.abs(length - 2.0 * nominal) > causes.FOOT_MM
        near = apart & (off <= suspects.tolerance(rows))
        # another line that is out some other way may have been exchanged with it
        for row in rows if near.all() else ():
            yield suspects.explain(
                "other_corner",
                [row],
                f"{capital(suspects.check(row).said)} fits the plan if it was read from"
                f" the other corner of wall {'-'.join(wall)}.",
            )


def outer_edge(suspects: Suspects) -> Iterator[LikelyCause]:
    """All readings of a wall long by the notch: taken from the concrete's edge."""
    notch = suspects.judged.plan.notch
    if notch is None:
        return
    for kind, edge in ((Kind.SETBACK, "steel line"), (Kind.LINE, "corner")):
        for wall, rows in suspects.by_wall(kind).items():
            off = np.abs(suspects.as_read(rows) - notch.width)
            left_over = causes.clearly(suspects.tolerance(rows), notch.width)
            here = _chosen(rows, off <= left_over)
            if _positions(suspects, here) >= 2 and _most_of(suspects, kind, wall, here):
                every = len(here) == len(suspects.measured_on(kind, wall))
                yield suspects.explain(
                    "outer_edge",
                    here,
                    f"{'Every' if every else 'Almost every'} {kind} of wall"
                    f" {'-'.join(wall)} is long by the notch,"
                    f" {suspects.length(notch.width)}: measured from the outer edge of"
                    f" the concrete, not the {edge}.",
                )


def out_to_out(suspects: Suspects) -> Iterator[LikelyCause]:
    """The outline long by the notch on either side: the concrete, out to out."""
    judged = suspects.judged
    if judged.plan.notch is None:
        return
    rows = suspects.rows(*OUTLINE)
    outer = outer_corners(outline_points(judged.plan), judged.plan.notch.width)
    place = {corner.name: i for i, corner in enumerate(judged.plan.outline)}
    ends = np.array([[place[name] for name in suspects.check(r).corners] for r in rows])
    ends = ends.reshape(-1, 2).astype(int)
    lengths = np.linalg.norm(outer[ends[:, 0]] - outer[ends[:, 1]], axis=1)
    longer = lengths - judged.table.nominal[rows]
    off = np.abs(suspects.deviation(rows) - longer)
    here = _chosen(rows, off <= causes.clearly(suspects.tolerance(rows), longer))
    if len(here) >= 2 and len(here) >= MOST_OF_WALL * len(judged.square.rows):
        yield suspects.explain(
            "outer_edge",
            here,
            "Walls and diagonals are long by the notch,"
            f" {suspects.length(judged.plan.notch.width)}, on either side: measured"
            " out to out of the concrete, not on the steel line.",
        )


def flange(suspects: Suspects) -> Iterator[LikelyCause]:
    """Web-referenced positions of a wall off by one amount along: to the flange."""
    for kind in (Kind.LINE, Kind.OFFSET):
        for wall, bad in suspects.by_wall(kind).items():
            rows = [row for row in bad if suspects.detail(row).reference == "web"]
            size = np.abs(suspects.deviation(rows))
            shared = causes.alike(size, FLANGE_TOLERANCE_MM)
            one_way = np.unique(np.sign(suspects.deviation(rows))).size == 1
            if (
                one_way
                and _positions(suspects, rows) >= 2
                and FLANGE_MM[0] <= shared <= FLANGE_MM[1]
            ):
                yield suspects.explain(
                    "flange_not_web",
                    rows,
                    f"Positions of wall {'-'.join(wall)} measured to a web are all"
                    f" {suspects.length(shared)} off along it: measured to the flange,"
                    " not the web.",
                )


def misread(suspects: Suspects) -> Iterator[LikelyCause]:
    """A single length a foot or an inch off, where nothing else contradicts it."""
    rows = suspects.rows(*LENGTHS)
    amount = causes.misread_by(suspects.deviation(rows), suspects.tolerance(rows))
    estimated = _estimated(suspects)
    for row, by in zip(rows, amount.tolist(), strict=True):
        if by == 0.0 or not _stands_alone(suspects, row, by, estimated):
            continue
        unit = "foot" if abs(by) == causes.FOOT_MM else "inch"
        mark = by == causes.FOOT_MM
        also = ", or the tape held at its 1 ft mark" if mark else ""
        yield suspects.explain(
            "misread",
            [row],
            f"{capital(suspects.check(row).said)} is one {unit}"
            f" {'long' if by > 0 else 'short'}:"
            f" the {unit} was misread{also}.",
        )


def _estimated(suspects: Suspects) -> dict[int, float]:
    """What each wall and diagonal would have to be wrong by, the others right. [mm]"""
    square = suspects.judged.square
    error = causes.estimated_error(
        square.adjustment.residuals_mm, square.adjustment.redundancy
    )
    return dict(zip(square.rows.tolist(), error.tolist(), strict=True))


def _stands_alone(
    suspects: Suspects, row: int, by: float, estimated: dict[int, float]
) -> bool:
    """Whether what else was read bears out that this one reading is wrong.

    A length of the outline has the other lengths to say so; a rod the rest of its
    pattern. A line or a projection has nothing: patterns really stand an inch off
    and rods really stand an inch low, but neither a foot.
    """
    kind = suspects.check(row).kind
    if kind in OUTLINE:
        error = estimated.get(row, float("nan"))
        slack = min(2.0 * float(suspects.tolerance([row])[0]), abs(by) / 2.0)
        if error != error:  # nothing checks it: concrete is never a foot out
            return abs(by) == causes.FOOT_MM
        return abs(error - by) <= slack and _most_suspect(suspects, row)
    if abs(by) == causes.FOOT_MM:
        return True
    if kind not in OF_A_ROD:
        return False
    others = [other for other in suspects.pattern(row) if other != row]
    alike = [other for other in others if suspects.check(other).kind is kind]
    if not alike or any(other in suspects.bad for other in others):
        return False
    # The pattern as a whole stands a little off: what the rod is off it counts.
    pattern = float(np.median(suspects.deviation(alike)))
    off = float(suspects.deviation([row])[0]) - pattern
    return abs(off - by) <= INCH_TOLERANCE_MM


def _most_suspect(suspects: Suspects, row: int) -> bool:
    """Whether no other length of the outline has a larger |w|: theirs are its doing."""
    square = suspects.judged.square
    size = np.abs(np.nan_to_num(square.adjustment.w))
    return bool((size[square.rows == row] >= (1.0 - SAME_W) * size.max()).all())


def outer_corners(corners: FloatArray, by_mm: float) -> FloatArray:
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
    share = np.where(share > TURNS_BACK, share, np.nan)
    return np.asarray(corners + by_mm * (out + before) / share[:, None])


def _chosen(rows: list[int], which: np.ndarray) -> list[int]:
    return [row for row, yes in zip(rows, which.tolist(), strict=True) if yes]


def _positions(suspects: Suspects, rows: Iterable[int]) -> int:
    return len({suspects.check(row).mark for row in rows})


def _most_of(suspects: Suspects, kind: Kind, wall: Wall, rows: list[int]) -> bool:
    """Whether hardly a reading of this kind on the wall tells another story."""
    return len(rows) >= MOST_OF_WALL * len(suspects.measured_on(kind, wall))
