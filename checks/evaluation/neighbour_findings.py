"""Findings on bays and spans: lengths between neighbours that are out of tolerance.

A bay that fails because one of its lines does, and by the amount that the lines give
it, is that line's consequence: it is listed with the finding on the position. Likewise
a span with the finding on the outline. Every other failing bay or span is a finding.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from checks.engine.remedies import neighbours
from checks.engine.remedies.remedy import Advice
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.evaluation.neighbour_lengths import describe_sources
from checks.evaluation.remeasure_rules import remeasure_reason
from checks.evaluation.verdicts import FAILING_VERDICTS
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind


def add_neighbour_findings(
    evaluation: BuildingEvaluation, findings: Sequence[ComputedFinding]
) -> list[ComputedFinding]:
    """Add failing bays and spans, to the finding that explains each or as one.

    Parameters
    ----------
    evaluation : the building.
    findings : those on everything else.
    """
    if not evaluation.neighbour_lengths.rows.size:
        return list(findings)
    listed = {finding.topic: finding for finding in findings}
    own: list[ComputedFinding] = []
    for i, row in enumerate(evaluation.neighbour_lengths.rows.tolist()):
        if evaluation.verdicts[row] not in FAILING_VERDICTS:
            continue
        topic = _find_cause_topic(evaluation, i)
        if topic in listed:
            key = evaluation.table.checks[row].key
            finding = listed[topic]
            listed[topic] = replace(
                finding,
                checks=(*finding.checks, key),
                consequences=(*finding.consequences, FindingTopic.for_check(key)),
            )
        else:
            own.append(_build_finding(evaluation, i))
    return list(_order_findings(listed.values(), own))


def _order_findings(
    others: Iterable[ComputedFinding], own: Sequence[ComputedFinding]
) -> Iterator[ComputedFinding]:
    """Yield findings in the order of the walk: bays come after the positions."""
    before = {
        TopicKind.PLAN,
        TopicKind.SQUARENESS,
        TopicKind.WALL,
        TopicKind.POSITION,
    }
    waiting = list(own)
    for finding in others:
        if waiting and finding.topic.kind not in before:
            yield from waiting
            waiting = []
        yield finding
    yield from waiting


def _find_cause_topic(evaluation: BuildingEvaluation, i: int) -> FindingTopic | None:
    """Return the topic of the finding that explains a bay or span, if one does."""
    lengths = evaluation.neighbour_lengths
    row = int(lengths.rows[i])
    explained = np.isfinite(lengths.predicted[i]) and not lengths.contradicts[i]
    if evaluation.verdicts[row] != Verdict.OUTSIDE or not explained:
        return None
    checks = evaluation.table.checks
    failing = [
        source
        for source in lengths.sources[i]
        if evaluation.verdicts[source] in FAILING_VERDICTS
    ]
    if checks[row].kind is CheckKind.BAY:
        if not failing:
            return None
        return FindingTopic.for_subject(
            TopicKind.POSITION, checks[failing[0]].mark or ""
        )
    walls = [source for source in failing if checks[source].kind is CheckKind.WALL]
    if len(walls) < len(failing) or evaluation.squareness.verdict in FAILING_VERDICTS:
        return FindingTopic.for_building(TopicKind.SQUARENESS)
    return FindingTopic.for_check(checks[walls[0]].key) if walls else None


def _build_finding(evaluation: BuildingEvaluation, i: int) -> ComputedFinding:
    lengths, table = evaluation.neighbour_lengths, evaluation.table
    row = int(lengths.rows[i])
    check = table.checks[row]
    remeasure, cause = remeasure_reason(evaluation, [check.key])
    count = evaluation.observations.count
    sources = lengths.sources[i]
    without_value = evaluation.observations.contradicted[row]
    return ComputedFinding(
        topic=FindingTopic.for_check(check.key),
        checks=(check.key,),
        cause=cause,
        advice=Advice(remedies=(remeasure,))
        if without_value and remeasure
        else neighbours.advise_neighbours(
            neighbours.NeighbourCase(
                style=evaluation.style,
                check=check.key,
                name=check.description,
                deviation=float(lengths.deviation[i]),
                limit=float(evaluation.bounds.size[row]),
                predicted=float(lengths.predicted[i]),
                contradicts=bool(lengths.contradicts[i]),
                sources=tuple(table.checks[source].key for source in sources),
                sources_name=describe_sources(check),
                unread=tuple(
                    table.checks[source].key for source in sources if not count[source]
                ),
                repeated=bool(count[row] > 1),
            ),
            remeasure,
        ),
    )
