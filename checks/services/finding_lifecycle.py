"""The life cycle of findings after an evaluation: open, change, flag, close.

A finding without a decision closes by itself when later readings are within. A decided
finding closes when the work was done and later readings are within, or when the
engineer accepts it. Every other change of what a decision was based on flags it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Max, Prefetch, QuerySet
from django.utils.timezone import now

from checks.evaluation_input import EvaluationInput
from checks.labels import describe_remedy
from checks.models import Decision, Evaluation, Finding, FindingEvent
from checks.reading_times import CheckTimes
from checks.services.decision_snapshot import (
    describe_differences,
    find_differences,
    has_plan_changed,
    list_remedy_names,
)
from checks.services.outbox import record_finding_events
from core.vocabulary import RemedyKind, Verdict
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.models import Building

State = Finding.State
Kind = FindingEvent.Kind
Code = FindingEvent.Code
# Nobody does any work for these: time alone settles them.
PASSIVE_REMEDIES = frozenset({RemedyKind.WAIT_FOR_STRENGTH})
UNSETTLED_VERDICTS = frozenset({Verdict.OUTSIDE, Verdict.REMEASURE})
COMPUTED_FIELDS = ("checks", "approval", "likely_cause", "remedies")
SYNCED_FIELDS = (
    *COMPUTED_FIELDS,
    "state",
    "closed_at",
    "closed_reason",
    "flagged_at",
)
Row = Mapping[str, Any]

EVENT_NOTES: dict[FindingEvent.Code, str] = {
    Code.STILL_OUTSIDE: "Measured again, still outside.",
    Code.NEW_PROPOSAL: "Proposed now: {}.",
    Code.ACCEPTANCE_OUTDATED: "Accepted before on other grounds: {}",
    Code.WITHIN_UNDECIDED: "Within now. It was decided before, no work was done.",
    Code.WITHIN_BEFORE_WORK: "Within now, before the work was done.",
    Code.NOT_MEASURED_SINCE: "Within now, but not measured since the work was done.",
    Code.GROUNDS_CHANGED: "{}",
    Code.OUTSIDE_AFTER_WORK: "Work done, still outside: {}",
    Code.PLAN_CHANGED: "The plan or its limits changed since the decision.",
}


@dataclass
class _SyncContext:
    """The data that all findings of one building are compared with."""

    evaluation_input: EvaluationInput
    check_rows: Mapping[str, Row]  # the result's checks, by key
    times: Mapping[str, CheckTimes]  # of current readings, by check
    requested_at: Mapping[int, datetime]  # last request to remeasure, by finding
    synced_at: datetime
    withdrawn_checks: frozenset[str]  # checks left without a reading that counts
    consequences: frozenset[str]  # topics listed with the finding that explains them
    events: list[FindingEvent] = field(default_factory=list)

    def add_event(
        self, finding: Finding, kind: Kind, code: str = "", detail: str = ""
    ) -> None:
        """Add a step to a finding's history; it is stored with the others."""
        note = EVENT_NOTES[Code(code)].format(detail) if code else detail
        self.events.append(
            FindingEvent(finding=finding, kind=kind, code=code, note=note)
        )

    def has_excluded_readings(self, finding: Finding) -> bool:
        """Return whether its checks lost readings: to a new plan, or withdrawn.

        A finding does not close because what opened it was withdrawn: it is measured.
        """
        lost = self.evaluation_input.excluded_checks | self.withdrawn_checks
        return not lost.isdisjoint(finding.checks)

    def is_off_plan(self, finding: Finding) -> bool:
        """Return whether the plan in force has none of its checks."""
        return not any(self._is_on_plan(key) for key in finding.checks)

    def _is_on_plan(self, key: str) -> bool:
        try:
            find_check(self.evaluation_input.building.plan, key)
        except UnknownCheckError:
            return False
        return True


def sync_findings(
    building: Building,
    evaluation: Evaluation,
    evaluation_input: EvaluationInput,
) -> list[Finding]:
    """Bring a building's findings up to its latest evaluation; return the open ones.

    Runs in the evaluation's transaction with the building locked. A second call
    changes nothing.
    """
    times = evaluation_input.times.by_check
    computed = {row["finding"]: row for row in evaluation.result["findings"]}
    findings = _prefetch_decisions(Finding.objects.filter(building=building).open())
    context = _SyncContext(
        evaluation_input=evaluation_input,
        check_rows={row["check"]: row for row in evaluation.result["checks"]},
        times=times,
        requested_at=_load_requests(findings),
        synced_at=now(),
        withdrawn_checks=frozenset(
            row.check
            for row in evaluation_input.building.readings
            if row.withdrawn is not None
        ).difference(times),
        consequences=frozenset(
            topic for row in computed.values() for topic in row.get("consequences", ())
        ),
    )
    changed = []
    for finding in findings:
        before = _list_synced_values(finding)
        row = computed.get(finding.topic)
        if row is not None:
            _copy_computed_fields(finding, row, context)
        _advance(finding, row, context)
        if _list_synced_values(finding) != before:
            changed.append(finding)
    if changed:
        Finding.objects.bulk_update(changed, SYNCED_FIELDS)
    _point_to_evaluation(findings, evaluation)
    topics = {finding.topic for finding in findings}
    new_rows = [row for topic, row in computed.items() if topic not in topics]
    opened = []
    if new_rows:
        opened = _open_findings(building, evaluation, context, new_rows)
    FindingEvent.objects.bulk_create(context.events)
    record_finding_events(building, context.events)
    return [each for each in (*findings, *opened) if each.state != State.CLOSED]


def _list_synced_values(finding: Finding) -> list[Any]:
    return [getattr(finding, name) for name in SYNCED_FIELDS]


def _point_to_evaluation(findings: list[Finding], evaluation: Evaluation) -> None:
    """Name the evaluation that found these, or that closed them."""
    older = [each.pk for each in findings if each.evaluation_id != evaluation.pk]
    if older:
        Finding.objects.filter(pk__in=older).update(evaluation=evaluation)
    for finding in findings:
        finding.evaluation = evaluation


def get_latest_decision(finding: Finding) -> Decision | None:
    """Return the decision in force: the latest one."""
    decisions = list(finding.decisions.all())
    return decisions[-1] if decisions else None


def _prefetch_decisions(findings: QuerySet[Finding]) -> list[Finding]:
    decisions = Decision.objects.select_related("work_report").order_by("pk")
    return list(findings.prefetch_related(Prefetch("decisions", decisions)))


def _load_requests(findings: list[Finding]) -> dict[int, datetime]:
    """Load when another measurement was requested last, by finding."""
    waiting = [each.pk for each in findings if each.state == State.REMEASURE]
    if not waiting:
        return {}
    requests = FindingEvent.objects.filter(
        finding__in=waiting, kind=Kind.ASKED_AGAIN
    ).order_by()
    return dict(requests.values_list("finding").annotate(at=Max("at")))


def _copy_computed_fields(finding: Finding, row: Row, context: _SyncContext) -> None:
    """Copy the computed fields; add an event where a reader would act on it."""
    before = _summarise({name: getattr(finding, name) for name in COMPUTED_FIELDS})
    for name in COMPUTED_FIELDS:
        setattr(finding, name, row.get(name))
    if before != _summarise(row) and finding.state != State.CARRIED_OUT:
        first = next(iter(finding.remedies), None)
        proposal = describe_remedy(first) if first else "nothing"
        context.add_event(finding, Kind.CHANGED, Code.NEW_PROPOSAL, proposal)


def _summarise(row: Row) -> tuple[Any, ...]:
    cause = row.get("likely_cause") or {}
    return (
        list_remedy_names(row.get("remedies") or []),
        row.get("approval"),
        row.get("checks"),
        cause.get("cause"),
    )


def _advance(finding: Finding, row: Row | None, context: _SyncContext) -> None:
    """Advance one finding by its state; `row` is None where it is not found again."""
    if row is None and not finding.checks:
        # Nothing is measured of it: a revision of the plan has cured it.
        _close_finding(finding, Finding.ClosedReason.REVISED, context)
    elif row is None and context.is_off_plan(finding):
        _close_finding(finding, Finding.ClosedReason.SUPERSEDED, context)
    elif row is None and finding.topic in context.consequences:
        _advance_consequence(finding, context)
    elif finding.state == State.CARRIED_OUT:
        _advance_carried_out(finding, row, context)
    elif finding.state == State.DECIDED:
        _advance_decided(finding, row, context)
    elif row is None:
        _advance_within(finding, context)
    elif finding.state == State.REMEASURE and _is_measured_again(finding, context):
        finding.state = State.OPEN
        context.add_event(finding, Kind.CHANGED, Code.STILL_OUTSIDE)


def _advance_consequence(finding: Finding, context: _SyncContext) -> None:
    """Close an undecided finding that another one explains; flag a decided one."""
    if get_latest_decision(finding) is None:
        _close_finding(finding, Finding.ClosedReason.CONSEQUENCE, context)
    else:
        reason = "It follows from another finding now."
        _flag_finding(finding, Code.GROUNDS_CHANGED, context, reason)


def _advance_within(finding: Finding, context: _SyncContext) -> None:
    """Close an undecided finding; flag one that was decided before."""
    if context.has_excluded_readings(finding):
        return
    if get_latest_decision(finding) is None:
        _close_finding(finding, Finding.ClosedReason.WITHIN, context)
        return
    finding.state = State.OPEN
    _flag_finding(finding, Code.WITHIN_UNDECIDED, context)


def _advance_decided(finding: Finding, row: Row | None, context: _SyncContext) -> None:
    decision = get_latest_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    passive = decision.remedy["remedy"] in PASSIVE_REMEDIES
    if row is None and passive and not context.has_excluded_readings(finding):
        _close_finding(finding, Finding.ClosedReason.VERIFIED, context)
    elif row is None:
        _flag_finding(finding, Code.WITHIN_BEFORE_WORK, context)
    elif not passive:
        _flag_differences(finding, decision, Code.GROUNDS_CHANGED, context)


def _advance_carried_out(
    finding: Finding, row: Row | None, context: _SyncContext
) -> None:
    decision = get_latest_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    measured = (
        _is_measured_since(finding, decision, context)
        if finding.checks
        else _is_plan_revised_since(decision, context)
    )
    if row is None and measured and not context.has_excluded_readings(finding):
        _close_finding(finding, Finding.ClosedReason.VERIFIED, context)
    elif row is None:
        _flag_finding(finding, Code.NOT_MEASURED_SINCE, context)
    elif measured:
        _flag_differences(finding, decision, Code.OUTSIDE_AFTER_WORK, context)
    elif has_plan_changed(decision.snapshot, context.check_rows):
        _flag_finding(finding, Code.PLAN_CHANGED, context)


def _is_measured_since(
    finding: Finding, decision: Decision, context: _SyncContext
) -> bool:
    """Return whether what was outside is measured after the work was done.

    All checks that were outside count. Where none was outside by itself (a plate that
    does not fit, diagonals that differ), any check of the finding does.
    """
    done_at = decision.work_report.at
    outside = [
        row["check"]
        for row in decision.snapshot["checks"]
        if row["verdict"] in UNSETTLED_VERDICTS
    ]
    measured = {key for key, times in context.times.items() if times.newest > done_at}
    if outside:
        return measured.issuperset(outside)
    return not measured.isdisjoint(finding.checks)


def _is_plan_revised_since(decision: Decision, context: _SyncContext) -> bool:
    """Return whether the plan was revised since a decision on the plan itself."""
    revision = context.evaluation_input.revision
    return bool(revision.digest != decision.snapshot["plan"]["digest"])


def _is_measured_again(finding: Finding, context: _SyncContext) -> bool:
    requested_at = context.requested_at.get(finding.pk)
    return requested_at is not None and any(
        context.times[key].recorded > requested_at
        for key in finding.checks
        if key in context.times
    )


def _close_finding(
    finding: Finding, reason: Finding.ClosedReason, context: _SyncContext
) -> None:
    finding.state = State.CLOSED
    finding.closed_reason = reason
    finding.closed_at = context.synced_at
    finding.flagged_at = None
    context.add_event(finding, Kind.CLOSED, detail=f"{reason.label.capitalize()}.")


def _flag_differences(
    finding: Finding,
    decision: Decision,
    code: FindingEvent.Code,
    context: _SyncContext,
) -> None:
    """Flag a finding where the present differs from the decision's snapshot."""
    differences = find_differences(
        decision.snapshot, context.check_rows, finding.remedies
    )
    if differences:
        _flag_finding(finding, code, context, describe_differences(differences))


def _flag_finding(
    finding: Finding,
    code: FindingEvent.Code,
    context: _SyncContext,
    detail: str = "",
) -> None:
    if finding.flagged_at is None:
        finding.flagged_at = context.synced_at
        context.add_event(finding, Kind.FLAGGED, code, detail)


def _open_findings(
    building: Building,
    evaluation: Evaluation,
    context: _SyncContext,
    rows: Iterable[Row],
) -> list[Finding]:
    """Open new findings; what the engineer accepted as is stays accepted."""
    acceptances = _find_acceptances(building, [row["finding"] for row in rows])
    opened = []
    for row in rows:
        acceptance = acceptances.get(row["finding"])
        code, detail = "", ""
        if acceptance is not None:
            differences = find_differences(
                acceptance.snapshot, context.check_rows, row["remedies"]
            )
            if not differences:
                continue
            code = Code.ACCEPTANCE_OUTDATED
            detail = describe_differences(differences)
        finding = Finding(
            building=building,
            topic=row["finding"],
            evaluation=evaluation,
            opened_at=context.synced_at,
            **{name: row.get(name) for name in COMPUTED_FIELDS},
        )
        opened.append(finding)
        context.add_event(finding, Kind.OPENED, code, detail)
    return Finding.objects.bulk_create(opened)


def _find_acceptances(building: Building, topics: list[str]) -> dict[str, Decision]:
    """Find the acceptance in force of each topic that has one."""
    closed = Finding.objects.filter(building=building, topic__in=topics).exclude(
        closed_at=None
    )
    latest: dict[str, Finding] = {}
    for finding in _prefetch_decisions(closed.order_by("closed_at", "pk")):
        latest[finding.topic] = finding
    return {
        topic: decision
        for topic, finding in latest.items()
        if finding.closed_reason == Finding.ClosedReason.ACCEPTED
        and (decision := get_latest_decision(finding)) is not None
    }
