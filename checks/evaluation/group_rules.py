"""Rules on groups of rods and on column lines, where the tolerance basis has any.

The column lines judged are those along the walls. A rule needs every rod of the
positions it compares; positions not fully measured are left out and counted.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine import lines
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import FloatArray
from checks.evaluation.positions import Rods
from checks.evaluation.table import RodTable
from checks.tolerances import Limits
from jobs.plan.geometry import position_frame, to_plan
from jobs.plan.model import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRule:
    """One rule along one wall or within one position. [mm]

    `marks` are the positions the worst deviation is between, or at.
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
    plan: Plan, rods: RodTable, solved: Rods, limits: Limits
) -> tuple[GroupRule, ...]:
    """Every group rule of the basis, the worst case of each wall or position."""
    rules = limits.line_rules()
    if rules == lines.LineRules():
        return ()
    return (
        *_within_positions(rods, solved, limits, rules),
        *_along_walls(plan, rods, solved, limits, rules),
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
    plan: Plan, rods: RodTable, solved: Rods, limits: Limits, rules: lines.LineRules
) -> Iterator[GroupRule]:
    """Groups along each wall: neighbours, what adds up, and the fitted line."""
    walls: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, group in enumerate(rods.groups):
        if group.position.wall and solved.determined[group.rows].all():
            walls[group.position.wall].append(i)
    for wall, members in walls.items():
        if len(members) < 2:
            continue
        planned, built, direction = _centres(plan, rods, solved, members)
        judged = lines.judge_line(planned, built, direction, rules)
        marks = [rods.groups[i].position.mark for i in members]
        where = "-".join(wall)
        if np.isfinite(rules.group_to_line_mm):
            off = judged.line.deviation_mm
            worst = int(np.argmax(np.abs(off)))
            yield _rule(
                limits,
                "group_to_line",
                where,
                (marks[worst],),
                float(off[worst]),
                rules.group_to_line_mm,
            )
        for key, pairs in (
            ("adjacent_groups", judged.adjacent),
            ("accumulated", judged.accumulated),
        ):
            if pairs.first.size and np.isfinite(pairs.limit_mm).all():
                worst = int(np.argmax(np.abs(pairs.deviation_mm) - pairs.limit_mm))
                yield _rule(
                    limits,
                    key,
                    where,
                    (marks[pairs.first[worst]], marks[pairs.second[worst]]),
                    float(pairs.deviation_mm[worst]),
                    float(pairs.limit_mm[worst]),
                )


def _centres(
    plan: Plan, rods: RodTable, solved: Rods, members: list[int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Planned and as-built group centres on plan axes, and the wall's direction."""
    planned, built = [], []
    direction = np.array([1.0, 0.0])
    for i in members:
        group = rods.groups[i]
        frame = position_frame(plan, group.position)
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
