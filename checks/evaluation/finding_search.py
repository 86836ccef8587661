"""The search for findings: everything out of tolerance, with the advice on it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

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
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.confirmation_rules import require_confirmation
from checks.evaluation.failing_checks import find_failing_checks
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.evaluation.fit_up_causes import attribute_misfit
from checks.evaluation.fit_up_finding import find_fit_up_findings
from checks.evaluation.group_rules import GroupRuleCase
from checks.evaluation.measurement_adequacy import (
    find_coarse_checks,
    order_better_measurement,
)
from checks.evaluation.neighbour_findings import add_neighbour_findings
from checks.evaluation.plan_findings import find_plan_findings
from checks.evaluation.plumb_findings import find_plumb_findings
from checks.evaluation.position_advice import add_misfit_plates, advise_position
from checks.evaluation.remeasure_rules import advise_without_value, remeasure_reason
from checks.evaluation.rod_positions import PATTERN_KINDS, POSITION_KINDS
from checks.evaluation.verdicts import FAILING_VERDICTS
from core.units import LengthStyle, format_against_limit, format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check

MAX_LISTED_CASES = 4
"""Cases of a broken rule that a sentence lists; the rest is counted."""


def compute_findings(evaluation: BuildingEvaluation) -> list[ComputedFinding]:
    """Return every finding, in the order of the walk round the building."""
    # Only now: causes are searched on the rods, not on plates that do not fit.
    evaluation = add_misfit_plates(evaluation)
    coarse = find_coarse_checks(evaluation)
    findings = [
        order_better_measurement(
            evaluation, require_confirmation(evaluation, finding), coarse
        )
        for find in (
            find_plan_findings,
            _outline_findings,
            _wall_findings,
            _position_findings,
            _group_rule_findings,
            find_fit_up_findings,
            _projection_findings,
            _misclosure_findings,
            _level_findings,
            _notch_findings,
            _strength_findings,
            find_plumb_findings,
        )
        for finding in find(evaluation)
    ]
    # Last, because bays and the fit-up can be consequences of the other findings.
    return attribute_misfit(evaluation, add_neighbour_findings(evaluation, findings))


def _measured_keys(evaluation: BuildingEvaluation, *kinds: CheckKind) -> Iterator[str]:
    """Yield the keys of the checks of these kinds that have readings."""
    for row in evaluation.table.rows(*kinds):
        if evaluation.observations.count[row]:
            yield evaluation.table.checks[row].key


def _outline_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    square = evaluation.squareness
    diagonals: list[str] = [
        check.key for _, check in find_failing_checks(evaluation, CheckKind.DIAGONAL)
    ]
    failing = square.diagonals.verdict in FAILING_VERDICTS
    # Lengths that contradict each other are a finding though each is within its limit.
    if (failing or square.contradicted) and not diagonals:
        diagonals = list(_measured_keys(evaluation, CheckKind.DIAGONAL))
    if not diagonals:
        return
    remeasure, cause = remeasure_reason(evaluation, diagonals)
    yield ComputedFinding(
        topic=FindingTopic.for_building(TopicKind.SQUARENESS),
        checks=tuple(diagonals),
        cause=cause,
        advice=outline.advise_square(
            difference=square.diagonals.difference,
            square=square.diagonals.verdict == Verdict.WITHIN,
            contradicted=square.contradicted,
            moves=square.moves,
            missing=square.missing_checks,
            remeasure=remeasure,
            style=evaluation.style,
        ),
    )


def _wall_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    for row, check in find_failing_checks(evaluation, CheckKind.WALL):
        remeasure, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=FindingTopic.for_check(check.key),
            checks=(check.key,),
            cause=cause,
            advice=advise_without_value(evaluation, row, remeasure)
            or outline.advise_wall(
                float(evaluation.deviation[row]),
                "-".join(check.corners),
                evaluation.style,
                remeasure,
            ),
        )


def _position_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    by_mark: dict[str, list[str]] = {}
    for _, check in find_failing_checks(evaluation, *POSITION_KINDS):
        by_mark.setdefault(check.mark or "", []).append(check.key)
    remedy_positions = set(evaluation.pattern_fits.remedy_positions.tolist())
    for order, group in enumerate(evaluation.rods.groups):
        mark = group.position.mark
        keys = by_mark.get(mark) or _keys_of_failing_rods(evaluation, group)
        # All rods are within and the plate still does not fit: every reading counts.
        if not keys and order in remedy_positions:
            every_rod = set(range(1, len(group.detail.rods) + 1))
            keys = _keys_of_rods(evaluation, group, every_rod)
        if not keys:
            continue
        remeasure, cause = remeasure_reason(evaluation, keys)
        yield ComputedFinding(
            topic=FindingTopic.for_subject(TopicKind.POSITION, mark),
            checks=tuple(keys),
            cause=cause,
            advice=advise_position(evaluation, order, remeasure),
        )


def _keys_of_failing_rods(
    evaluation: BuildingEvaluation, group: PositionRods
) -> list[str]:
    """Return the keys of rods that fail though each of their checks is within.

    This happens where several readings near their limits add up at one rod.
    """
    failing = {
        row - group.rows.start + 1
        for row in range(group.rows.start, group.rows.stop)
        if evaluation.rod_verdicts[row] in FAILING_VERDICTS
    }
    return _keys_of_rods(evaluation, group, failing) if failing else []


def _keys_of_rods(
    evaluation: BuildingEvaluation, group: PositionRods, rods: set[int]
) -> list[str]:
    """Return the keys of the measured checks of some rods of a position.

    Where rods are judged from the plan, their reference line's is one of them.
    """
    kinds = POSITION_KINDS if evaluation.limits.rods_from_plan else PATTERN_KINDS
    table, rows = evaluation.table, evaluation.table.rows(*kinds)
    order = evaluation.rods.position[group.rows.start]
    rows = rows[
        (table.position[rows] == order) & (evaluation.observations.count[rows] > 0)
    ]
    return [
        check.key
        for row in rows.tolist()
        if (check := table.checks[row]).kind is CheckKind.LINE
        or rods.intersection(check.rods)
    ]


def _group_rule_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Yield findings on groups that keep their limits but break a rule of the basis."""
    by_topic: dict[FindingTopic, list[GroupRuleCase]] = {}
    for case in evaluation.group_rules:
        if not case.within:
            topic = FindingTopic.for_subject(TopicKind(case.rule), case.where)
            by_topic.setdefault(topic, []).append(case)
    for topic, cases in by_topic.items():
        marks = {mark for case in cases for mark in case.marks}
        keys = [
            check.key
            for row in evaluation.table.rows(*POSITION_KINDS)
            if (check := evaluation.table.checks[row]).mark in marks
            and evaluation.observations.count[row]
        ]
        remeasure, cause = remeasure_reason(evaluation, keys)
        referral = refer_to_engineer(
            f"{_describe_broken_rules(cases, evaluation.style)}: {cases[0].source}.",
            deviation=cases[0].deviation,
            limit=cases[0].limit,
        )
        yield ComputedFinding(
            topic=topic,
            checks=tuple(keys),
            cause=cause,
            advice=_rank_after_remeasurement(remeasure, referral),
        )


def _rank_after_remeasurement(remeasure: Remedy | None, remedy: Remedy) -> Advice:
    remedies = [remedy] if remeasure is None else [remeasure, remedy]
    return Advice(remedies=rank_remedies(remedies))


def _describe_broken_rules(cases: Sequence[GroupRuleCase], style: LengthStyle) -> str:
    """Describe which groups are off by how much, the worst first; count the rest."""
    listed = [
        f"{_describe_rule_place(case)}"
        f" {format_against_limit(abs(case.deviation), case.limit, style, 32)}"
        f" off where {format_length(case.limit, style, 32)} is allowed"
        for case in cases[:MAX_LISTED_CASES]
    ]
    more = len(cases) - len(listed)
    return "; ".join([*listed, f"and {more} more"] if more else listed)


def _describe_rule_place(case: GroupRuleCase) -> str:
    """Return the groups a rule compares, or the rods of one group, with the verb."""
    marks = " to ".join(case.marks)
    if not case.rods:
        return f"{marks} is"
    plural = len(case.rods) > 1
    rods = " and ".join(str(rod) for rod in case.rods)
    return f"{marks} {'rods' if plural else 'rod'} {rods} {'are' if plural else 'is'}"


def _projection_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    by_mark: dict[str, list[tuple[int, Check]]] = {}
    for row, check in [
        *find_failing_checks(evaluation, CheckKind.PROJECTION),
        *_rows_without_thread(evaluation),
    ]:
        by_mark.setdefault(check.mark or "", []).append((row, check))
    for mark, rows in by_mark.items():
        keys = tuple(check.key for _, check in rows)
        remeasure, cause = remeasure_reason(evaluation, keys)
        contradicted = evaluation.observations.contradicted
        known = [each for each in rows if not contradicted[each[0]]]
        yield ComputedFinding(
            topic=FindingTopic.for_subject(TopicKind.PROJECTION, mark),
            checks=keys,
            cause=cause,
            advice=projection.advise_projection(
                _projection_case(evaluation, known), remeasure
            )
            if known
            else advise_without_value(evaluation, rows[0][0], remeasure)
            or Advice(remedies=()),
        )


def _projection_case(
    evaluation: BuildingEvaluation, rows: Sequence[tuple[int, Check]]
) -> projection.ProjectionCase:
    """Collect the quantities of the failing projections of one position.

    Short rods decide the remedy; long ones are only named beside them.
    """
    long = [item for item in rows if evaluation.deviation[item[0]] > 0]
    short = [item for item in rows if item not in long]
    decisive = short or rows
    worst, _ = min(decisive, key=lambda item: evaluation.deviation[item[0]])
    threads = evaluation.rod_threads
    decisive_rows = np.array([row for row, _ in decisive])
    rods = evaluation.rods.rows_of_checks(evaluation.table, decisive_rows)
    tightest = min(rods[:, 0].tolist(), key=lambda rod: (threads.thread_left[rod], rod))
    return projection.ProjectionCase(
        style=evaluation.style,
        rods=_rod_numbers(decisive),
        deviation=float(evaluation.deviation[worst]),
        thread_left=float(threads.thread_left[tightest]),
        engaged=float(threads.engaged[tightest]),
        within=not any(
            evaluation.verdicts[row] in FAILING_VERDICTS for row, _ in decisive
        ),
        too_long=_rod_numbers(long) if short else (),
    )


def _rod_numbers(rows: Iterable[tuple[int, Check]]) -> tuple[int, ...]:
    return tuple(check.rods[0] for _, check in rows)


def _rows_without_thread(evaluation: BuildingEvaluation) -> Iterator[tuple[int, Check]]:
    """Yield projections within their limit that are too short for the nut."""
    rows = evaluation.table.rows(CheckKind.PROJECTION)
    rows = rows[
        (evaluation.verdicts[rows] == Verdict.WITHIN)
        & (evaluation.observations.count[rows] > 0)
    ]
    rods = evaluation.rods.rows_of_checks(evaluation.table, rows)[:, 0]
    for row in rows[evaluation.rod_threads.thread_left[rods] < -SLACK_MM]:
        yield int(row), evaluation.table.checks[row]


def _misclosure_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Yield the finding on set-ups that do not close, or a benchmark that differs."""
    pads = evaluation.pads
    benchmarks = [
        check.key for _, check in find_failing_checks(evaluation, CheckKind.BENCHMARK)
    ]
    if pads.levels_close and not benchmarks:
        return
    ties = benchmarks if pads.levels_close else list(pads.tie_checks)
    limit = evaluation.limits.level_misclosure()
    remeasure, cause = remeasure_reason(evaluation, benchmarks)
    if remeasure is None:
        style = evaluation.style
        misclosure_text = format_against_limit(pads.misclosure, limit, style, 32)
        limit_text = format_length(limit, style, 32)
        remeasure = propose_remeasurement(
            f"Set-up {', '.join(pads.tie_setups)}: the levels misclose by"
            f" {misclosure_text} where {limit_text} is allowed. Level again.",
            ties,
        )
    remeasure = replace(
        remeasure,
        quantities={
            **remeasure.quantities,
            "setups": list(pads.tie_setups),
            "misclosure": pads.misclosure,
            "limit": limit,
        },
    )
    yield ComputedFinding(
        topic=FindingTopic.for_building(TopicKind.LEVELS),
        checks=tuple(ties),
        cause=cause,
        advice=_rank_after_remeasurement(
            remeasure, refer_to_engineer("Keep the heights as measured.")
        ),
    )


def _level_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    pads, limits = evaluation.pads, evaluation.limits
    pad_by_row = {row: i for i, row in enumerate(pads.rows.tolist())}
    # One for all pads: it lists every pad.
    better_level = (
        _propose_better_level(evaluation) if pads.needs_better_level else None
    )
    limit, shim_up_to = limits.pad_level(), limits.shim_up_to()
    for row, check in find_failing_checks(evaluation, CheckKind.LEVEL):
        i = pad_by_row[row]
        remeasure, cause = remeasure_reason(evaluation, [check.key])
        remeasure = remeasure or better_level
        shim = float(pads.shim[i])
        yield ComputedFinding(
            topic=FindingTopic.for_check(check.key),
            checks=(check.key,),
            cause=cause,
            advice=advise_without_value(evaluation, row, remeasure)
            or level.advise_level(
                level.LevelCase(
                    style=evaluation.style,
                    shortfall=-float(pads.height[i]),
                    limit=limit,
                    shim_up_to=shim_up_to,
                    shim=shim,
                    stack=tuple(evaluation.shim_stack(i)),
                    residual=float(pads.height[i]) + shim,
                    thread_left=float(evaluation.pad_threads[i]),
                    lower_pad=pads.pad_to_lower,
                ),
                remeasure,
            ),
        )


def _propose_better_level(evaluation: BuildingEvaluation) -> Remedy:
    """Propose to level again where two pads cannot be told apart within the limit."""
    pads, style = evaluation.pads, evaluation.style
    apart = format_against_limit(pads.tells_apart, pads.limit, style, 32)
    limit = format_length(pads.limit, style, 32)
    levelled = pads.rows[~np.isnan(pads.height)]
    return propose_remeasurement(
        f"The level tells two pads apart to {apart}, where {limit} decides. Read every"
        " pad again from a second set-up, nearer to the pads or with a better level.",
        [evaluation.table.checks[row].key for row in levelled],
    )


def _notch_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    for row, check in find_failing_checks(
        evaluation, CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH
    ):
        remeasure, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=FindingTopic.for_check(check.key),
            checks=(check.key,),
            cause=cause,
            advice=advise_without_value(evaluation, row, remeasure)
            or other.advise_notch(
                float(evaluation.deviation[row]), evaluation.style, remeasure
            ),
        )


def _strength_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    concrete = evaluation.concrete
    if concrete.verdict not in FAILING_VERDICTS:
        return
    yield ComputedFinding(
        topic=FindingTopic.for_building(TopicKind.STRENGTH),
        checks=concrete.doubtful + concrete.samples,
        cause=None,
        advice=other.advise_strength(
            other.StrengthCase(
                strength=concrete.strength,
                required=concrete.required,
                ratio=concrete.ratio,
                required_ratio=concrete.required_ratio,
                samples=concrete.samples,
                style=evaluation.style,
            ),
            propose_remeasurement(
                concrete.reason, concrete.doubtful or concrete.samples
            )
            if concrete.reason
            else None,
        ),
    )
