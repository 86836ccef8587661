"""Rules on groups of rods and on column lines, where the tolerance basis has any.

The column lines judged are those along the walls: what stands on one wall is measured
from that wall's corners, and nothing that is read ties one wall's groups to another's.
A rule needs every rod of the positions it compares, and along a wall their reference
lines as well: a line that was not measured stands where the plan has it only for want
of better, and is not to pass for measured here. Who is whose neighbour is the plan's
matter: a group that was not measured still stands between its own.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.engine import group_tolerances
from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.check_table import RodTable
from checks.evaluation.rod_positions import AsBuiltRods
from checks.tolerances.limits import ToleranceLimits
from jobs.anchor_plan.geometry import to_plan_axes


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRuleCase:
    """One rule along one wall or within one position. [mm]

    `marks` are the positions the deviation is between, or at; `rods` the rods of one
    position that it is between, or of, where it is a rod's. `known` is whether all it
    needs was measured: else a reference line is taken to be where the plan has it.
    """

    rule: str
    source: str
    where: str
    marks: tuple[str, ...]
    deviation: float
    limit: float
    within: bool
    rods: tuple[int, ...] = ()
    fully_measured: bool = True

    @property
    def verdict(self) -> str:
        """Outside by what is known; within only where all it needs was measured."""
        if not self.within:
            return "outside"
        return "within" if self.fully_measured else "unmeasured"

    def as_result(self) -> dict[str, Any]:
        """One of the result document's `group_rules`."""
        return {
            "rule": self.rule,
            "source": self.source,
            "where": self.where,
            "marks": list(self.marks),
            "deviation": self.deviation,
            "limit": self.limit,
            "verdict": self.verdict,
        }


def evaluate_group_rules(
    rods: RodTable, as_built: AsBuiltRods, limits: ToleranceLimits
) -> tuple[GroupRuleCase, ...]:
    """Every group rule of the basis: each wall's and position's worst case.

    Along a wall the other cases that break the rule follow the worst.
    """
    rules = limits.group_rules()
    if rules == group_tolerances.GroupRules():
        return ()
    return (
        *_cases_in_positions(rods, as_built, limits, rules),
        *_cases_along_walls(rods, as_built, limits, rules),
    )


def _cases_in_positions(
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    rules: group_tolerances.GroupRules,
) -> Iterator[GroupRuleCase]:
    """Rods of one group against each other, and the group's centre."""
    judged = group_tolerances.assess_groups(
        rods.planned, as_built.points, rods.position, rules
    )
    pairs = judged.rod_pairs
    owner = rods.position[pairs.first] if pairs.first.size else pairs.first
    for i, group in enumerate(rods.groups):
        if not as_built.determined[group.rows].all():
            continue
        mine, first = owner == i, group.rows.start - 1
        ends = np.stack([pairs.first[mine], pairs.second[mine]], axis=1) - first
        each = np.arange(1, len(group.detail.rods) + 1)
        lined = group.position.wall is None or not np.isnan(as_built.line[i])
        found = {
            "within_group": (pairs.deviation_mm[mine], np.sort(ends, axis=1)),
            "group_centre": (judged.centre_deviation_mm[i], np.empty((2, 0), int)),
            "rod_from_group_centre": (
                judged.rod_deviation_mm[group.rows].ravel(),
                np.repeat(each, 2)[:, None],
            ),
        }
        for key, (deviation, numbers) in found.items():
            limit = getattr(rules, f"{key}_mm")
            if np.isfinite(limit) and deviation.size:
                at = int(np.argmax(np.abs(deviation)))
                mark, worst = group.position.mark, float(deviation[at])
                yield replace(
                    _make_case(limits, key, mark, (mark,), worst, float(limit)),
                    rods=tuple(numbers[at].tolist()),
                    fully_measured=lined or key != "group_centre",
                )


def _cases_along_walls(
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    rules: group_tolerances.GroupRules,
) -> Iterator[GroupRuleCase]:
    """Groups along each wall: the fitted line, neighbours, and what adds up."""
    walls: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, group in enumerate(rods.groups):
        if group.position.wall:
            walls[group.position.wall].append(i)
    for wall, members in walls.items():
        where = "-".join(wall)
        marks = [rods.groups[i].position.mark for i in members]
        built = np.array(
            [as_built.determined[rods.groups[i].rows].all() for i in members]
        )
        lined = built & ~np.isnan(as_built.line[members])
        if built.sum() > 1:
            off = _check_line_rules(
                rods, as_built, members, rules, built
            ).line.deviation_mm
            limit = np.full(off.size, rules.group_to_line_mm)
            at: list[tuple[str, ...]] = [(mark,) for mark in marks]
            yield from _worst_and_failing_cases(
                limits, "group_to_line", where, at, off, limit
            )
        if lined.sum() < 2:
            continue
        judged = _check_line_rules(rods, as_built, members, rules, lined)
        for key, pairs in (
            ("adjacent_groups", judged.adjacent),
            ("accumulated", judged.accumulated),
        ):
            ends = zip(pairs.first, pairs.second, strict=True)
            apart: list[tuple[str, ...]] = [(marks[i], marks[j]) for i, j in ends]
            yield from _worst_and_failing_cases(
                limits, key, where, apart, pairs.deviation_mm, pairs.limit_mm
            )


def _check_line_rules(
    rods: RodTable,
    as_built: AsBuiltRods,
    members: list[int],
    rules: group_tolerances.GroupRules,
    known: BoolArray,
) -> group_tolerances.ColumnLineAssessment:
    """One wall's groups against the rules, those not known left out of the fit."""
    planned, built, direction = _group_centres(rods, as_built, members)
    built[~known] = np.nan
    return group_tolerances.assess_column_line(planned, built, direction, rules)


def _worst_and_failing_cases(
    limits: ToleranceLimits,
    key: str,
    where: str,
    between: Sequence[tuple[str, ...]],
    deviation: FloatArray,
    limit: FloatArray,
) -> Iterator[GroupRuleCase]:
    """The worst case, and after it, by how much they are over, all that are outside.

    A case that is not known, NaN, is not judged.
    """
    known = ~np.isnan(deviation)
    if not known.any() or not np.isfinite(limit).all():
        return
    over = np.where(known, np.abs(deviation) - limit, -np.inf)
    for nth, i in enumerate(np.argsort(-over, kind="stable").tolist()):
        if nth and over[i] <= SLACK_MM:
            return
        yield _make_case(
            limits, key, where, between[i], float(deviation[i]), float(limit[i])
        )


def _group_centres(
    rods: RodTable, as_built: AsBuiltRods, members: list[int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Planned and as-built group centres on plan axes, and the wall's direction."""
    planned, built = [], []
    direction = np.array([1.0, 0.0])
    for i in members:
        group, frame = rods.groups[i], rods.frames[i]
        direction = frame.along
        planned.append(to_plan_axes(frame, rods.planned[group.rows]).mean(axis=0))
        built.append(to_plan_axes(frame, as_built.points[group.rows]).mean(axis=0))
    return np.array(planned), np.array(built), direction


def _make_case(
    limits: ToleranceLimits,
    key: str,
    where: str,
    marks: tuple[str, ...],
    deviation: float,
    limit: float,
) -> GroupRuleCase:
    return GroupRuleCase(
        rule=key,
        source=limits.source(key),
        where=where,
        marks=marks,
        deviation=deviation,
        limit=limit,
        within=abs(deviation) <= limit + SLACK_MM,
    )
