"""Rules on groups of rods and on column lines, where the tolerance basis has any.

Column lines run along the walls: the groups of one wall are measured from that wall's
corners, and no reading ties one wall's groups to another's. A rule needs every rod of
the positions it compares, and along a wall their reference lines too: a line that was
not measured stands where the plan has it and must not pass for measured. The plan alone
decides which groups are neighbours, measured or not.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from checks.engine import group_tolerances
from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.check_table import RodTable
from checks.evaluation.rod_positions import AsBuiltRods
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import to_plan_axes
from jobs.exchange.result.document import GroupRuleResult


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRuleCase:
    """One rule applied along one wall or within one position. [mm]

    Attributes
    ----------
    marks : the positions that the deviation is between, or at.
    rods : numbers of the rods it is between, or at, within one position.
    fully_measured : whether everything the rule needs was measured; else the planned
        place of a reference line stands in.
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
    def verdict(self) -> Verdict:
        """Return `outside` by what is known, `within` only where fully measured."""
        if not self.within:
            return Verdict.OUTSIDE
        return Verdict.WITHIN if self.fully_measured else Verdict.UNMEASURED

    def as_result(self) -> GroupRuleResult:
        """Return an entry of the result document's `group_rules`."""
        return {
            "rule": self.rule,
            "source": self.source,
            "where": self.where,
            "marks": list(self.marks),
            "deviation": self.deviation,
            "limit": self.limit,
            "verdict": self.verdict.value,
        }


def evaluate_group_rules(
    rods: RodTable, as_built: AsBuiltRods, limits: ToleranceLimits
) -> tuple[GroupRuleCase, ...]:
    """Evaluate every group rule of the basis for each wall and position.

    The worst case comes first; along a wall the other failing cases follow it.
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
    """Yield the cases of rods within one group, and of the group's centre."""
    assessed = group_tolerances.assess_groups(
        rods.planned, as_built.points, rods.position, rules
    )
    pairs = assessed.rod_pairs
    owner = rods.position[pairs.first] if pairs.first.size else pairs.first
    for i, group in enumerate(rods.groups):
        if not as_built.determined[group.rows].all():
            continue
        own, first = owner == i, group.rows.start - 1
        ends = np.stack([pairs.first[own], pairs.second[own]], axis=1) - first
        numbers = np.arange(1, len(group.detail.rods) + 1)
        line_measured = group.position.wall is None or not np.isnan(as_built.line[i])
        # Each rule with its deviations, and the rods that each deviation is about.
        deviations = {
            "within_group": (pairs.deviation_mm[own], np.sort(ends, axis=1)),
            "group_centre": (assessed.centre_deviation_mm[i], np.empty((2, 0), int)),
            "rod_from_group_centre": (
                assessed.rod_deviation_mm[group.rows].ravel(),
                np.repeat(numbers, 2)[:, None],
            ),
        }
        for key, (deviation, rods_of) in deviations.items():
            limit = getattr(rules, f"{key}_mm")
            if np.isfinite(limit) and deviation.size:
                worst = int(np.argmax(np.abs(deviation)))
                mark, amount = group.position.mark, float(deviation[worst])
                yield replace(
                    _make_case(limits, key, mark, (mark,), amount, float(limit)),
                    rods=tuple(rods_of[worst].tolist()),
                    fully_measured=line_measured or key != "group_centre",
                )


def _cases_along_walls(
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    rules: group_tolerances.GroupRules,
) -> Iterator[GroupRuleCase]:
    """Yield the cases of groups along each wall: line, neighbours, accumulation."""
    # Points inside the building stand on no column line that a tape ties together.
    walls: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, group in enumerate(rods.groups):
        if group.position.wall:
            walls[group.position.wall].append(i)
    for wall, members in walls.items():
        where = "-".join(wall)
        marks = [rods.groups[i].position.mark for i in members]
        determined = np.array(
            [as_built.determined[rods.groups[i].rows].all() for i in members]
        )
        line_measured = determined & ~np.isnan(as_built.line[members])
        if determined.sum() > 1:
            fit = _assess_wall(rods, as_built, members, rules, determined).line
            limit = np.full(fit.deviation_mm.size, rules.group_to_line_mm)
            yield from _worst_and_failing_cases(
                limits,
                "group_to_line",
                where,
                [(mark,) for mark in marks],
                fit.deviation_mm,
                limit,
            )
        if line_measured.sum() < 2:
            continue
        assessed = _assess_wall(rods, as_built, members, rules, line_measured)
        for key, pairs in (
            ("adjacent_groups", assessed.adjacent),
            ("accumulated", assessed.accumulated),
        ):
            ends = zip(pairs.first, pairs.second, strict=True)
            between = [(marks[i], marks[j]) for i, j in ends]
            yield from _worst_and_failing_cases(
                limits, key, where, between, pairs.deviation_mm, pairs.limit_mm
            )


def _assess_wall(
    rods: RodTable,
    as_built: AsBuiltRods,
    members: list[int],
    rules: group_tolerances.GroupRules,
    usable: BoolArray,
) -> group_tolerances.ColumnLineAssessment:
    """Assess the groups of one wall; the fit leaves out those that are not usable."""
    planned, built, direction = _group_centres(rods, as_built, members)
    # Left in as NaN, not removed: neighbours are a matter of the plan.
    built[~usable] = np.nan
    return group_tolerances.assess_column_line(planned, built, direction, rules)


def _worst_and_failing_cases(
    limits: ToleranceLimits,
    key: str,
    where: str,
    between: Sequence[tuple[str, ...]],
    deviation: FloatArray,
    limit: FloatArray,
) -> Iterator[GroupRuleCase]:
    """Yield the worst case, then all failing ones by the amount they are over.

    Cases with an unknown deviation (NaN) are left out.
    """
    known = ~np.isnan(deviation)
    if not known.any() or not np.isfinite(limit).all():
        return
    over = np.where(known, np.abs(deviation) - limit, -np.inf)
    for rank, i in enumerate(np.argsort(-over, kind="stable").tolist()):
        if rank and over[i] <= SLACK_MM:
            return
        yield _make_case(
            limits, key, where, between[i], float(deviation[i]), float(limit[i])
        )


def _group_centres(
    rods: RodTable, as_built: AsBuiltRods, members: list[int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return planned and as-built centres on plan axes, and the wall's direction."""
    planned, built = [], []
    direction = np.array([1.0, 0.0])
    for i in members:
        group, axes = rods.groups[i], rods.position_axes[i]
        direction = axes.along
        planned.append(to_plan_axes(axes, rods.planned[group.rows]).mean(axis=0))
        built.append(to_plan_axes(axes, as_built.points[group.rows]).mean(axis=0))
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
