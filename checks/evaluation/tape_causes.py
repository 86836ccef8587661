"""Likely causes with the tape: misread, its 1 ft mark, the wrong edge, the flange.

What may be left over, and that a whole group must agree, is ours. A whole pattern can
really stand an inch or half a rod off, so that what one position says is not enough
where more would have to say the same; better no idea than a false accusation.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from checks.engine import causes
from checks.evaluation.suspects import LikelyCause, Suspects, Wall, capital
from jobs.plan.sheet import Kind

OUTLINE = (Kind.DIAGONAL, Kind.WALL)
LENGTHS = (*OUTLINE, Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.GAGE, Kind.PROJECTION)
OF_A_ROD = (Kind.SETBACK, Kind.OFFSET, Kind.GAGE)
INCH_TOLERANCE_MM = 1.6  # of a rod's inch, 1/16 in: a rod may really stand off
FLANGE_MM = (25.0, 130.0)  # half-widths and widths a flange may have
FLANGE_TOLERANCE_MM = 3.2
MOST_OF_WALL = 0.6  # share of a wall's readings that must tell the same story


def repeats_misread(suspects: Suspects) -> Iterator[LikelyCause]:
    """Of readings that disagree, the one that is a foot or an inch off the plan."""
    judged = suspects.judged
    for row in suspects.rows(*LENGTHS):
        readings = judged.observed.readings[row]
        if judged.words[row] != "remeasure" or len(readings) < 2:
            continue
        tolerance = float(suspects.tolerance([row])[0])
        values = np.array([reading.value for reading in readings])
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
        off = suspects.as_read(rows) - causes.FOOT_MM
        here = _chosen(rows, np.abs(off) <= suspects.tolerance(rows))
        if len(here) >= 2:
            yield suspects.explain(
                "foot_mark",
                here,
                f"Running dimensions of wall {'-'.join(wall)} are all a foot long: the"
                " tape was held at its 1 ft mark.",
            )


def outer_edge(suspects: Suspects) -> Iterator[LikelyCause]:
    """All readings of a wall long by the notch: taken from the concrete's edge."""
    notch = suspects.judged.plan.notch
    if notch is None:
        return
    for kind, edge in ((Kind.SETBACK, "steel line"), (Kind.LINE, "corner")):
        for wall, rows in suspects.by_wall(kind).items():
            off = np.abs(suspects.as_read(rows) - notch.width)
            here = _chosen(rows, off <= suspects.tolerance(rows))
            if _positions(suspects, here) >= 2 and _most_of(suspects, kind, wall, here):
                yield suspects.explain(
                    "outer_edge",
                    here,
                    f"Every {kind} of wall {'-'.join(wall)} is long by the notch,"
                    f" {suspects.length(notch.width)}: measured from the outer edge of"
                    f" the concrete, not the {edge}.",
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
        return abs(error - by) <= slack
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


def _chosen(rows: list[int], which: np.ndarray) -> list[int]:
    return [row for row, yes in zip(rows, which.tolist(), strict=True) if yes]


def _positions(suspects: Suspects, rows: Iterable[int]) -> int:
    return len({suspects.check(row).mark for row in rows})


def _most_of(suspects: Suspects, kind: Kind, wall: Wall, rows: list[int]) -> bool:
    """Whether hardly a reading of this kind on the wall tells another story."""
    return len(rows) >= MOST_OF_WALL * len(suspects.measured_on(kind, wall))
