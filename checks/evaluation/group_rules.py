"""Rules on groups of rods and on column lines, where the tolerance basis has any.

The column lines judged are those along the walls: what stands on one wall is measured
from that wall's corners, and nothing that is read ties one wall's groups to another's.
A rule needs every rod of the positions it compares, and along a wall their reference
lines as well: a line that was not measured stands where the plan has it only for want
of better, and is not to pass for measured here.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine import lines
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import FloatArray
from checks.evaluation.positions import Rods
from checks.evaluation.table import RodTable
from checks.tolerances import Limits
from jobs.plan.geometry import to_plan


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRule:
    """One rule along one wall or within one position. [mm]

    `marks` are the positions the deviation is between, or at.
    """

    rule: str
    source: str
    where: str
    marks: tuple[str, ...]
    deviation: float
    limit: float
    within: bool

    def as_result(self) -> dict[str, Any]:
        """One of the result document's `group_rules`."""
        return {
            "rule": self.rule,
            "source": self.source,
            "where": self.where,
            "marks": list(self.marks),
            "deviation": self.deviation,
            "limit": self.limit,
            "verdict": "within" if self.within else "outside",
        }


def judge_group_rules(
    rods: RodTable, solved: Rods, limits: Limits
) -> tuple[GroupRule, ...]:
    """Every group rule of the basis: each wall's and position's worst case.

    Along a wall the other cases that break the rule follow the worst.
    """
    rules = limits.line_rules()
    if rules == lines.LineRules():
        return ()
    return (
        *_within_positions(rods, solved, limits, rules),
        *_along_walls(rods, solved, limits, rules),
    )


def _within_positions(
    rods: RodTable, solved: Rods, limits: Limits, rules: lines.LineRules
) -> Iterator[GroupRule]:
    """Rods of one group against each other, and the group's centre."""
    judged = lines.judge_groups(rods.planned, solved.as_built, rods.position, rules)
    pairs = judged.rod_pairs
    owner = rods.position[pairs.first] if pairs.first.size else pairs.first
    for i, group in enumerate(rods.groups):
        mark = group.position.mark
        if not solved.determined[group.rows].all():
            continue
        found = {
            "within_group": pairs.deviation_mm[owner == i],
            "group_centre": judged.centre_deviation_mm[i],
            "rod_from_group_centre": judged.rod_deviation_mm[group.rows].ravel(),
        }
        for key, deviation in found.items():
            limit = getattr(rules, f"{key}_mm")
            if np.isfinite(limit) and deviation.size:
                worst = float(deviation[np.argmax(np.abs(deviation))])
                yield _rule(limits, key, mark, (mark,), worst, float(limit))


def _along_walls(
    rods: RodTable, solved: Rods, limits: Limits, rules: lines.LineRules
) -> Iterator[GroupRule]:
    """Groups along each wall: the fitted line, neighbours, and what adds up."""
    walls: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, group in enumerate(rods.groups):
        if group.position.wall and solved.determined[group.rows].all():
            walls[group.position.wall].append(i)
    for wall, members in walls.items():
        where = "-".join(wall)
        if len(members) > 1 and np.isfinite(rules.group_to_line_mm):
            judged = _judged(rods, solved, members, rules)
            off = judged.line.deviation_mm
            limit = np.full(off.size, rules.group_to_line_mm)
            at: list[tuple[str, ...]] = [
                (rods.groups[i].position.mark,) for i in members
            ]
            yield from _cases(limits, "group_to_line", where, at, off, limit)
        members = [i for i in members if not np.isnan(solved.line[i])]
        if len(members) < 2:
            continue
        judged = _judged(rods, solved, members, rules)
        marks = [rods.groups[i].position.mark for i in members]
        for key, pairs in (
            ("adjacent_groups", judged.adjacent),
            ("accumulated", judged.accumulated),
        ):
            ends = zip(pairs.first, pairs.second, strict=True)
            apart: list[tuple[str, ...]] = [(marks[i], marks[j]) for i, j in ends]
            yield from _cases(
                limits, key, where, apart, pairs.deviation_mm, pairs.limit_mm
            )


def _judged(
    rods: RodTable,
    solved: Rods,
    members: list[int],
    rules: lines.LineRules,
) -> lines.LineJudgement:
    planned, built, direction = _centres(rods, solved, members)
    return lines.judge_line(planned, built, direction, rules)


def _cases(
    limits: Limits,
    key: str,
    where: str,
    between: Sequence[tuple[str, ...]],
    deviation: FloatArray,
    limit: FloatArray,
) -> Iterator[GroupRule]:
    """The worst case, and after it, by how much they are over, all that are outside."""
    if not deviation.size or not np.isfinite(limit).all():
        return
    over = np.abs(deviation) - limit
    for nth, i in enumerate(np.argsort(-over, kind="stable").tolist()):
        if nth and over[i] <= SLACK_MM:
            return
        yield _rule(
            limits, key, where, between[i], float(deviation[i]), float(limit[i])
        )


def _centres(
    rods: RodTable, solved: Rods, members: list[int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Planned and as-built group centres on plan axes, and the wall's direction."""
    planned, built = [], []
    direction = np.array([1.0, 0.0])
    for i in members:
        group, frame = rods.groups[i], rods.frames[i]
        direction = frame.along
        planned.append(to_plan(frame, rods.planned[group.rows]).mean(axis=0))
        built.append(to_plan(frame, solved.as_built[group.rows]).mean(axis=0))
    return np.array(planned), np.array(built), direction


def _rule(
    limits: Limits,
    key: str,
    where: str,
    marks: tuple[str, ...],
    deviation: float,
    limit: float,
) -> GroupRule:
    return GroupRule(
        rule=key,
        source=limits.source(key),
        where=where,
        marks=marks,
        deviation=deviation,
        limit=limit,
        within=abs(deviation) <= limit + SLACK_MM,
    )
