"""Likely causes with the tape: misread, exchanged, the wrong edge, the wrong way round.

What may be left over, and that a whole group must agree, is ours.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from checks.engine import causes
from checks.evaluation.suspects import LikelyCause, Suspects
from jobs.plan.sheet import Check, Kind

LENGTHS = (
    Kind.DIAGONAL,
    Kind.WALL,
    Kind.LINE,
    Kind.SETBACK,
    Kind.OFFSET,
    Kind.GAGE,
    Kind.PROJECTION,
)
EDGE_TOLERANCE_MM = 1.6  # how well half a rod or a flange must be matched
FLANGE_MM = (25.0, 130.0)  # half-widths and widths a flange may have
MOST_OF_WALL = 0.8  # share of a wall's readings that must tell the same story


def _by(
    suspects: Suspects, rows: Iterable[int], name: Callable[[Check], object]
) -> dict[Any, list[int]]:
    groups: dict[Any, list[int]] = defaultdict(list)
    for row in rows:
        groups[name(suspects.check(row))].append(row)
    return groups


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
                f"One reading of {suspects.check(row).key}, {readings[first].text}, is"
                f" {suspects.length(amount[first])} off where the others agree with"
                " the plan: a misread, or the tape held at its 1 ft mark.",
            )
            yield replace(
                cause, readings=tuple(readings[i].id for i in np.flatnonzero(wrong))
            )


def turned(suspects: Suspects) -> Iterator[LikelyCause]:
    """A detail set the wrong way round."""
    judged = suspects.judged
    rods, solved = judged.rods, judged.solved
    groups = _by(
        suspects, suspects.rows(Kind.SETBACK, Kind.OFFSET, Kind.GAGE), lambda c: c.mark
    )
    for group in rods.groups:
        rows = groups.get(group.position.mark, [])
        if len(rows) < 2 or not solved.determined[group.rows].all():
            continue
        planned = rods.planned[group.rows]
        built = planned + solved.from_line[group.rows]
        tolerance = float(suspects.tolerance(rows).max())
        way = causes.turned_around(planned, built, tolerance)
        if way:
            yield suspects.explain(
                "detail_turned",
                rows,
                f"The rods of {group.position.mark} are where detail"
                f" {group.detail.name} {way} would put them.",
            )


def exchanged(suspects: Suspects) -> Iterator[LikelyCause]:
    """Two readings written down the wrong way round."""
    judged = suspects.judged
    for kind in (Kind.SETBACK, Kind.OFFSET, Kind.LINE, Kind.WALL, Kind.GAGE):
        wall = {p.mark: p.wall for p in judged.plan.positions}
        groups = _by(
            suspects,
            suspects.rows(kind),
            lambda c: (
                wall[c.mark] if c.kind is Kind.LINE and c.mark else c.mark  # noqa: B023 used at once
            ),
        )
        for rows in groups.values():
            pairs = causes.exchanged(
                judged.table.nominal[rows],
                judged.value[rows],
                suspects.tolerance(rows),
            )
            for pair in pairs.tolist():
                both = [rows[i] for i in pair]
                names = " and ".join(suspects.check(row).key for row in both)
                yield suspects.explain(
                    "exchanged",
                    both,
                    f"{names} fit the plan with their readings exchanged.",
                )


def outer_edge(suspects: Suspects) -> Iterator[LikelyCause]:
    """All readings of a wall long by the notch: taken from the concrete's edge."""
    judged = suspects.judged
    notch = judged.plan.notch
    if notch is None:
        return
    wall = {p.mark: p.wall for p in judged.plan.positions}
    for kind, corner in ((Kind.SETBACK, "steel line"), (Kind.LINE, "corner")):
        groups = _by(suspects, suspects.rows(kind), lambda c: wall.get(c.mark or ""))
        for name, rows in groups.items():
            if name is None or len(rows) < 2:
                continue
            if causes.all_shifted_by(
                suspects.deviation(rows), notch.width, suspects.tolerance(rows)
            ) and _all_of_wall(suspects, kind, wall, name, rows):
                yield suspects.explain(
                    "outer_edge",
                    rows,
                    f"Every {kind} of wall {'-'.join(name)} is long by the notch,"
                    f" {suspects.length(notch.width)}: measured from the outer edge of"
                    f" the concrete, not the {corner}.",
                )


def _all_of_wall(
    suspects: Suspects,
    kind: Kind,
    wall: dict[str, tuple[str, str] | None],
    name: tuple[str, str],
    rows: list[int],
) -> bool:
    """Whether no reading of this kind on the wall tells another story."""
    judged = suspects.judged
    measured = [
        int(row)
        for row in judged.table.rows(kind)
        if wall.get(suspects.check(row).mark or "") == name
        and judged.observed.count[row]
    ]
    return len(rows) >= MOST_OF_WALL * len(measured)


def foot_mark(suspects: Suspects) -> Iterator[LikelyCause]:
    """Several running dimensions of a wall a foot long: the tape's 1 ft mark."""
    judged = suspects.judged
    wall = {p.mark: p.wall for p in judged.plan.positions}
    groups = _by(suspects, suspects.rows(Kind.LINE), lambda c: wall.get(c.mark or ""))
    for name, rows in groups.items():
        if (
            name is not None
            and len(rows) >= 2
            and causes.all_shifted_by(
                suspects.deviation(rows), causes.FOOT_MM, suspects.tolerance(rows)
            )
        ):
            yield suspects.explain(
                "foot_mark",
                rows,
                f"Running dimensions of wall {'-'.join(name)} are all a foot long: the"
                " tape was held at its 1 ft mark.",
            )


def rod_edge(suspects: Suspects) -> Iterator[LikelyCause]:
    """All rods of a position off by half a diameter: read to their edge."""
    judged = suspects.judged
    for kind in (Kind.SETBACK, Kind.OFFSET):
        groups = _by(suspects, suspects.rows(kind), lambda c: c.mark)
        for mark, rows in groups.items():
            half = (
                judged.rods.diameter[
                    judged.rods.row(mark, suspects.check(rows[0]).rods[0])
                ]
                / 2.0
            )
            off = suspects.deviation(rows)
            listed = [
                row
                for row in judged.table.rows(kind)
                if suspects.check(row).mark == mark
            ]
            if len(rows) < max(2, len(listed)):
                continue
            for sign in (1.0, -1.0):
                if causes.all_shifted_by(off, sign * half, EDGE_TOLERANCE_MM):
                    yield suspects.explain(
                        "rod_edge",
                        rows,
                        f"Every {kind} of {mark} is off by half a rod,"
                        f" {suspects.length(half)}: read to the rod's edge, not its"
                        " centre.",
                    )


def flange(suspects: Suspects) -> Iterator[LikelyCause]:
    """Web-referenced positions all off by one amount along: read to the flange."""
    judged = suspects.judged
    detail = {p.mark: judged.plan.details[p.detail] for p in judged.plan.positions}
    for kind in (Kind.LINE, Kind.OFFSET):
        rows = [
            row
            for row in suspects.rows(kind)
            if detail[suspects.check(row).mark or ""].reference == "web"
        ]
        marks = {suspects.check(row).mark for row in rows}
        shared = abs(causes.alike(suspects.deviation(rows), 2.0 * EDGE_TOLERANCE_MM))
        if len(marks) >= 2 and FLANGE_MM[0] <= shared <= FLANGE_MM[1]:
            yield suspects.explain(
                "flange_not_web",
                rows,
                f"Positions measured to a web are all {suspects.length(shared)} off"
                " along the wall: measured to the flange, not the web.",
            )


def misread(suspects: Suspects) -> Iterator[LikelyCause]:
    """A single length a foot or an inch off, where the rest does not contradict it."""
    judged = suspects.judged
    rows = suspects.rows(*LENGTHS)
    if not rows:
        return
    tolerance = suspects.tolerance(rows)
    amount = causes.misread_by(suspects.deviation(rows), tolerance)
    adjusted = judged.square.adjustment
    error = dict(
        zip(
            judged.square.rows.tolist(),
            causes.estimated_error(adjusted.residuals_mm, adjusted.redundancy),
            strict=True,
        )
    )
    for row, by, slack in zip(rows, amount, tolerance, strict=True):
        checked = error.get(row, float("nan"))
        contradicted = checked == checked and abs(checked - by) > 2.0 * slack
        if by == 0.0 or contradicted:
            continue
        unit = "foot" if abs(by) == causes.FOOT_MM else "inch"
        also = ", or the tape held at its 1 ft mark" if by == causes.FOOT_MM else ""
        yield suspects.explain(
            "misread",
            [row],
            f"{suspects.check(row).key} is one {unit} {'long' if by > 0 else 'short'}:"
            f" the {unit} was misread{also}.",
        )
