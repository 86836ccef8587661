"""Findings: what is out of tolerance, what explains it, what is proposed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.engine.conformity import SLACK_MM
from checks.engine.remedies import level, other, outline, projection
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
    refer_to_engineer,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.check_table import PositionRods
from checks.evaluation.failing_checks import LikelyCause
from checks.evaluation.group_rules import GroupRuleCase
from checks.evaluation.json_values import to_json_number
from checks.evaluation.position_advice import add_misfit_plates, advise_position
from checks.evaluation.remeasure_rules import remeasure_reason
from core.units import LengthStyle, format_length
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check

FAILING_VERDICTS = ("outside", "remeasure")
MAX_LISTED_CASES = 4  # cases a sentence lists; the rest is counted
POSITION_KINDS = (CheckKind.LINE, CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputedFinding:
    """One thing that needs a decision."""

    topic: str
    checks: tuple[str, ...]
    advice: Advice
    cause: LikelyCause | None

    def as_result(self) -> dict[str, Any]:
        """One of the result document's `findings`."""
        remedies = [_remedy_result(remedy) for remedy in self.advice.remedies]
        return {
            "finding": self.topic,
            "checks": list(self.checks),
            "approval": self.advice.remedies[0].approval,
            "likely_cause": None if self.cause is None else self.cause.as_result(),
            "remedies": remedies,
            "ruled_out": [
                {"remedy": kind.value, "reason": reason}
                for kind, reason in self.advice.ruled_out
            ],
        }


def _remedy_result(remedy: Remedy) -> dict[str, Any]:
    """One remedy as JSON; NaN becomes null."""
    figures = {
        key: to_json_number(value) if isinstance(value, float) else value
        for key, value in remedy.quantities.items()
    }
    written = {
        "remedy": remedy.kind.value,
        **figures,
        "approval": remedy.approval.value,
        "reason": remedy.reason,
        "cautions": list(remedy.cautions),
    }
    if remedy.why_second:
        written["why_second"] = remedy.why_second
    return written


def compute_findings(evaluation: BuildingEvaluation) -> list[ComputedFinding]:
    """Every finding, in the order of the walk round the building."""
    evaluation = add_misfit_plates(evaluation)
    return [
        finding
        for part in (
            _outline_findings,
            _position_findings,
            _group_rule_findings,
            _projection_findings,
            _misclosure_findings,
            _level_findings,
            _notch_findings,
            _strength_findings,
            _plumb_findings,
        )
        for finding in part(evaluation)
    ]


def _failing_rows(
    evaluation: BuildingEvaluation, *kinds: CheckKind
) -> Iterator[tuple[int, Check]]:
    """Rows and checks of these kinds that are outside or to be measured again."""
    rows = evaluation.table.rows(*kinds)
    bad = np.logical_or.reduce(
        [evaluation.verdicts[rows] == word for word in FAILING_VERDICTS]
    )
    for row in rows[bad].tolist():
        yield row, evaluation.table.checks[row]


def _outline_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    square = evaluation.squareness
    diagonals = [
        check.key for _, check in _failing_rows(evaluation, CheckKind.DIAGONAL)
    ]
    if square.verdict in FAILING_VERDICTS and not diagonals:
        diagonals = [
            evaluation.table.checks[row].key
            for row in evaluation.table.rows(CheckKind.DIAGONAL)
            if evaluation.observations.count[row]
        ]
    if diagonals:
        again, cause = remeasure_reason(evaluation, diagonals)
        yield ComputedFinding(
            topic="squareness",
            checks=tuple(diagonals),
            cause=cause,
            advice=outline.advise_square(
                difference=square.difference,
                square=square.verdict == "within",
                moves=square.moves,
                missing=square.missing_checks,
                remeasure=again,
                style=evaluation.style,
            ),
        )
    for row, check in _failing_rows(evaluation, CheckKind.WALL):
        again, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=outline.advise_wall(
                float(evaluation.deviation[row]),
                "-".join(check.corners),
                evaluation.style,
                again,
            ),
        )


def _position_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    by_mark: dict[str, list[str]] = {}
    for _, check in _failing_rows(evaluation, *POSITION_KINDS):
        by_mark.setdefault(check.mark or "", []).append(check.key)
    doubtful = set(evaluation.pattern_fits.remedy_positions.tolist())
    for order, group in enumerate(evaluation.rods.groups):
        mark = group.position.mark
        keys = by_mark.get(mark) or _keys_of_failing_rods(evaluation, group)
        if not keys and order in doubtful:
            keys = _keys_of_rods(
                evaluation, group, set(range(1, len(group.detail.rods) + 1))
            )
        if not keys:
            continue
        again, cause = remeasure_reason(evaluation, keys)
        yield ComputedFinding(
            topic=f"position:{mark}",
            checks=tuple(keys),
            cause=cause,
            advice=advise_position(evaluation, order, again),
        )


def _keys_of_failing_rods(
    evaluation: BuildingEvaluation, group: PositionRods
) -> list[str]:
    """What was read of rods that are out though each of their checks is within.

    So it can be where readings that are all near their limits share one rod.
    """
    bad = {
        row - group.rows.start + 1
        for row in range(group.rows.start, group.rows.stop)
        if evaluation.rod_verdicts[row] in FAILING_VERDICTS
    }
    return _keys_of_rods(evaluation, group, bad) if bad else []


def _keys_of_rods(
    evaluation: BuildingEvaluation, group: PositionRods, rods: set[int]
) -> list[str]:
    """Every check of some of a position's rods that was read."""
    return [
        check.key
        for row in evaluation.table.rows(
            CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE
        )
        if (check := evaluation.table.checks[row]).mark == group.position.mark
        and rods.intersection(check.rods)
        and evaluation.observations.count[row]
    ]


def _group_rule_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Groups that keep their own limits and still break a rule of the basis."""
    broken: dict[str, list[GroupRuleCase]] = {}
    for rule in evaluation.group_rules:
        if not rule.within:
            broken.setdefault(f"{rule.rule}:{rule.where}", []).append(rule)
    for topic, rules in broken.items():
        marks = {mark for rule in rules for mark in rule.marks}
        keys = [
            check.key
            for row in evaluation.table.rows(*POSITION_KINDS)
            if (check := evaluation.table.checks[row]).mark in marks
            and evaluation.observations.count[row]
        ]
        again, cause = remeasure_reason(evaluation, keys)
        advice = refer_to_engineer(
            f"{_describe_broken_rules(rules, evaluation.style)}: {rules[0].source}.",
            deviation=rules[0].deviation,
            limit=rules[0].limit,
        )
        yield ComputedFinding(
            topic=topic,
            checks=tuple(keys),
            cause=cause,
            advice=Advice(
                remedies=rank_remedies([*([again] if again else []), advice])
            ),
        )


def _describe_broken_rules(rules: Sequence[GroupRuleCase], style: LengthStyle) -> str:
    """Which groups are off by how much, the worst first; the rest is counted."""
    said = [
        f"{_describe_rule_place(rule)} {format_length(abs(rule.deviation), style, 32)}"
        f" off where {format_length(rule.limit, style, 32)} is allowed"
        for rule in rules[:MAX_LISTED_CASES]
    ]
    more = len(rules) - len(said)
    return "; ".join([*said, f"and {more} more"] if more else said)


def _describe_rule_place(rule: GroupRuleCase) -> str:
    """The groups a rule was judged between, or the rods of one group, and a verb."""
    marks = " to ".join(rule.marks)
    if not rule.rods:
        return f"{marks} is"
    plural = len(rule.rods) > 1
    rods = " and ".join(str(rod) for rod in rule.rods)
    return f"{marks} {'rods' if plural else 'rod'} {rods} {'are' if plural else 'is'}"


def _projection_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    by_mark: dict[str, list[tuple[int, Check]]] = {}
    for row, check in [
        *_failing_rows(evaluation, CheckKind.PROJECTION),
        *_rows_without_thread(evaluation),
    ]:
        by_mark.setdefault(check.mark or "", []).append((row, check))
    for mark, both in by_mark.items():
        keys = tuple(check.key for _, check in both)
        again, cause = remeasure_reason(evaluation, keys)
        long = [(row, check) for row, check in both if evaluation.deviation[row] > 0]
        found = [item for item in both if item not in long] or both
        worst, _ = min(found, key=lambda item: evaluation.deviation[item[0]])
        threads = evaluation.rod_threads
        rows = np.array([row for row, _ in found])
        rods = evaluation.rods.rows_of_checks(evaluation.table, rows)[:, 0].tolist()
        tight = min(rods, key=lambda rod: (threads.thread_left[rod], rod))
        yield ComputedFinding(
            topic=f"projection:{mark}",
            checks=keys,
            cause=cause,
            advice=projection.advise_projection(
                projection.ProjectionCase(
                    style=evaluation.style,
                    rods=tuple(check.rods[0] for _, check in found),
                    deviation=float(evaluation.deviation[worst]),
                    thread_left=float(threads.thread_left[tight]),
                    engaged=float(threads.engaged[tight]),
                    within=not any(
                        evaluation.verdicts[row] in FAILING_VERDICTS for row, _ in found
                    ),
                    too_long=tuple(check.rods[0] for _, check in long)
                    if found is not both
                    else (),
                ),
                again,
            ),
        )


def _rows_without_thread(evaluation: BuildingEvaluation) -> Iterator[tuple[int, Check]]:
    """Rods within the limit of placing that stand too short for their nut as read."""
    rows = evaluation.table.rows(CheckKind.PROJECTION)
    rows = rows[
        (evaluation.verdicts[rows] == "within")
        & (evaluation.observations.count[rows] > 0)
    ]
    rods = evaluation.rods.rows_of_checks(evaluation.table, rows)[:, 0]
    for row in rows[evaluation.rod_threads.thread_left[rods] < -SLACK_MM]:
        yield int(row), evaluation.table.checks[row]


def _misclosure_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Set-ups that do not close on each other, or a benchmark that does not repeat."""
    pads = evaluation.pads
    benchmarks = [
        check.key for _, check in _failing_rows(evaluation, CheckKind.BENCHMARK)
    ]
    if pads.levels_close and not benchmarks:
        return
    ties = benchmarks if pads.levels_close else list(pads.tie_checks)
    limit = evaluation.limits.level_misclosure()
    again, cause = remeasure_reason(evaluation, benchmarks)
    if again is None:
        again = propose_remeasurement(
            f"The readings of set-up {', '.join(pads.tie_setups)} do not close: they are"
            f" {format_length(pads.misclosure, evaluation.style, 32)} apart where"
            f" {format_length(limit, evaluation.style, 32)} is allowed.",
            ties,
        )
    again = replace(
        again,
        quantities={
            **again.quantities,
            "setups": list(pads.tie_setups),
            "misclosure": pads.misclosure,
            "limit": limit,
        },
    )
    yield ComputedFinding(
        topic="levels",
        checks=tuple(ties),
        cause=cause,
        advice=Advice(
            remedies=rank_remedies(
                [
                    again,
                    refer_to_engineer(
                        "The heights as they stand, if the engineer takes them."
                    ),
                ]
            )
        ),
    )


def _level_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    pads = evaluation.pads
    place = {int(row): i for i, row in enumerate(pads.rows)}
    for row, check in _failing_rows(evaluation, CheckKind.LEVEL):
        i = place[row]
        again, cause = remeasure_reason(evaluation, [check.key])
        shim = float(pads.shim[i])
        yield ComputedFinding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=level.advise_level(
                level.LevelCase(
                    style=evaluation.style,
                    shortfall=-float(pads.height[i]),
                    limit=evaluation.limits.pad_level(),
                    shim_up_to=evaluation.limits.shim_up_to(),
                    shim=shim,
                    stack=tuple(evaluation.shim_stack(i)),
                    residual=float(pads.height[i]) + shim,
                    thread_left=float(evaluation.pad_threads[i]),
                    lower_pad=pads.pad_to_lower,
                ),
                again,
            ),
        )


def _notch_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    for row, check in _failing_rows(
        evaluation, CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH
    ):
        again, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=other.advise_notch(
                float(evaluation.deviation[row]), evaluation.style, again
            ),
        )


def _strength_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    concrete = evaluation.concrete
    if concrete.verdict in FAILING_VERDICTS:
        yield ComputedFinding(
            topic="strength",
            checks=concrete.samples,
            cause=None,
            advice=other.advise_strength(
                other.StrengthCase(
                    strength=concrete.strength,
                    required=concrete.required,
                    ratio=concrete.ratio,
                    required_ratio=concrete.required_ratio,
                    samples=concrete.samples,
                ),
                propose_remeasurement(concrete.reason, concrete.samples)
                if concrete.reason
                else None,
            ),
        )


def _plumb_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    for row, check in _failing_rows(evaluation, CheckKind.PLUMB):
        again, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=other.advise_plumb(
                float(evaluation.deviation[row]),
                float(evaluation.plumb_heights[row]),
                float(evaluation.bounds.upper[row]),
                check.axis or "",
                evaluation.style,
                again,
            ),
        )
