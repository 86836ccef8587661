"""Findings follow the evaluation: they open, change, close, or ask for another look.

A finding that nobody decided closes by itself when later readings are within. One
that was decided closes when the decision was carried out and measured within after
that, or when the engineer accepts it; whatever else changes what a decision was
based on flags it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Max, Prefetch
from django.utils.timezone import now

from checks.evaluation_input import EvaluationInput
from checks.labels import describe_remedy
from checks.models import Decision, Evaluation, Finding, FindingEvent, Reading
from checks.services.decision_snapshot import (
    describe_differences,
    has_plan_changed,
    list_remedy_names,
)
from checks.services.outbox import record_finding_events
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.models import Building

State = Finding.State
Kind = FindingEvent.Kind
PASSIVE_REMEDIES = frozenset(
    {"wait_for_strength"}
)  # nothing is carried out: time does it
COMPUTED_FIELDS = ("checks", "severity", "likely_cause", "remedies")
SYNCED_FIELDS = (
    *COMPUTED_FIELDS,
    "evaluation",
    "state",
    "closed_at",
    "closing",
    "flagged_at",
)


@dataclass
class _SyncContext:
    """What every finding of one building is followed by."""

    evaluation_input: EvaluationInput
    check_rows: Mapping[str, Mapping[str, Any]]  # the result's checks, by key
    last_taken_at: Mapping[str, datetime]  # newest standing reading of each check
    last_recorded_at: Mapping[str, datetime]
    requested_at: Mapping[int, datetime]  # when another measurement was asked for
    synced_at: datetime
    events: list[FindingEvent] = field(default_factory=list)

    def add_event(self, finding: Finding, kind: Kind, note: str = "") -> None:
        self.events.append(FindingEvent(finding=finding, kind=kind, note=note))

    def has_excluded_readings(self, finding: Finding) -> bool:
        """Whether readings of its checks no longer hold on the plan in force."""
        return not self.evaluation_input.excluded_checks.isdisjoint(finding.checks)

    def is_off_plan(self, finding: Finding) -> bool:
        """Whether the plan in force has none of its checks."""
        return not any(self._is_on_plan(key) for key in finding.checks)

    def _is_on_plan(self, key: str) -> bool:
        try:
            find_check(self.evaluation_input.building.plan, key)
        except UnknownCheckError:
            return False
        return True


def sync_findings(
    building: Building, evaluation: Evaluation, known: EvaluationInput
) -> None:
    """Bring a building's findings up to its latest evaluation.

    In the evaluation's transaction, with the building locked. Done twice it changes
    nothing the second time.
    """
    computed = {row["finding"]: row for row in evaluation.result["findings"]}
    standing = _prefetch_decisions(Finding.objects.filter(building=building).open())
    context = _build_context(building, evaluation, known, standing)
    for finding in standing:
        found = computed.get(finding.topic)
        if found is not None:
            _copy_computed_fields(finding, found, context)
        _advance(finding, found, context)
        finding.evaluation = evaluation
    Finding.objects.bulk_update(standing, SYNCED_FIELDS)
    topics = {finding.topic for finding in standing}
    _open_findings(
        building,
        evaluation,
        context,
        [row for topic, row in computed.items() if topic not in topics],
    )
    FindingEvent.objects.bulk_create(context.events)
    record_finding_events(building, context.events)


def _prefetch_decisions(findings: Any) -> list[Finding]:
    decisions = Decision.objects.select_related("carried_out").order_by("pk")
    return list(findings.prefetch_related(Prefetch("decisions", decisions)))


def get_latest_decision(finding: Finding) -> Decision | None:
    """Give what holds of a finding's decisions: the latest."""
    decisions = list(finding.decisions.all())
    return decisions[-1] if decisions else None


def _build_context(
    building: Building,
    evaluation: Evaluation,
    known: EvaluationInput,
    standing: list[Finding],
) -> _SyncContext:
    newest = (
        Reading.objects.filter(building=building)
        .standing()
        .order_by()
        .values("check_key")
        .annotate(taken=Max("taken_at"), recorded=Max("recorded_at"))
    )
    again = [finding.pk for finding in standing if finding.state == State.REMEASURE]
    asked = (
        FindingEvent.objects.filter(finding__in=again, kind=Kind.ASKED_AGAIN)
        .order_by()
        .values_list("finding")
        .annotate(at=Max("at"))
    )
    rows = list(newest)
    return _SyncContext(
        evaluation_input=known,
        check_rows={row["check"]: row for row in evaluation.result["checks"]},
        last_taken_at={row["check_key"]: row["taken"] for row in rows},
        last_recorded_at={row["check_key"]: row["recorded"] for row in rows},
        requested_at=dict(asked),
        synced_at=now(),
    )


def _copy_computed_fields(
    finding: Finding, found: Mapping[str, Any], context: _SyncContext
) -> None:
    """Write what was computed last; tell only of what a reader would act on."""
    before = _summarise({name: getattr(finding, name) for name in COMPUTED_FIELDS})
    for name in COMPUTED_FIELDS:
        setattr(finding, name, found.get(name))
    if before != _summarise(found) and finding.state != State.CARRIED_OUT:
        first = next(iter(finding.remedies), None)
        proposed = describe_remedy(first) if first else "nothing"
        note = f"{FindingEvent.PROPOSED_NOW}{proposed}."
        context.add_event(finding, Kind.CHANGED, note)


def _summarise(found: Mapping[str, Any]) -> tuple[Any, ...]:
    cause = found.get("likely_cause") or {}
    return (
        list_remedy_names(found.get("remedies") or []),
        found.get("severity"),
        found.get("checks"),
        cause.get("cause"),
    )


def _advance(
    finding: Finding, found: Mapping[str, Any] | None, context: _SyncContext
) -> None:
    """Move one finding along, by its state and by whether it is found again."""
    if found is None and context.is_off_plan(finding):
        _close_finding(finding, Finding.Closing.SUPERSEDED, context)
    elif finding.state == State.CARRIED_OUT:
        _advance_carried_out(finding, found, context)
    elif finding.state == State.DECIDED:
        _advance_decided(finding, found, context)
    elif found is None:
        _advance_within(finding, context)
    elif finding.state == State.REMEASURE and _is_measured_again(finding, context):
        finding.state = State.OPEN
        context.add_event(finding, Kind.CHANGED, FindingEvent.STOOD)


def _advance_within(finding: Finding, context: _SyncContext) -> None:
    """Close what nobody decided; what was decided before waits for the engineer."""
    if context.has_excluded_readings(finding):
        return
    if get_latest_decision(finding) is None:
        _close_finding(finding, Finding.Closing.WITHIN, context)
        return
    finding.state = State.OPEN
    _flag_finding(
        finding, "Within now, but decided before and not carried out.", context
    )


def _advance_decided(
    finding: Finding, found: Mapping[str, Any] | None, context: _SyncContext
) -> None:
    decision = get_latest_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    passive = decision.remedy["remedy"] in PASSIVE_REMEDIES
    if found is None and passive and not context.has_excluded_readings(finding):
        _close_finding(finding, Finding.Closing.VERIFIED, context)
    elif found is None:
        _flag_finding(
            finding, "Within now, before the decision was carried out.", context
        )
    else:
        changed = describe_differences(
            decision.basis, context.check_rows, finding.remedies
        )
        if changed and not passive:
            _flag_finding(finding, changed, context)


def _advance_carried_out(
    finding: Finding, found: Mapping[str, Any] | None, context: _SyncContext
) -> None:
    decision = get_latest_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    again = _is_measured_since(finding, decision, context)
    if found is None and again and not context.has_excluded_readings(finding):
        _close_finding(finding, Finding.Closing.VERIFIED, context)
    elif found is None:
        _flag_finding(
            finding, "Within now, but not measured since it was carried out.", context
        )
    elif again:
        changed = describe_differences(
            decision.basis, context.check_rows, finding.remedies
        )
        if changed:
            _flag_finding(
                finding, f"Carried out, and still outside. {changed}", context
            )
    elif has_plan_changed(decision.basis, context.check_rows):
        _flag_finding(
            finding, "The plan or its limits changed since it was decided.", context
        )


def _is_measured_since(
    finding: Finding, decision: Decision, context: _SyncContext
) -> bool:
    """Whether what was outside was measured after the decision was carried out.

    All checks that were outside; where none was on its own (a plate that does not
    go on, diagonals that differ), any of the finding's.
    """
    since = decision.carried_out.at
    outside = [
        row["check"]
        for row in decision.basis["checks"]
        if row["verdict"] != "within" and row["verdict"] != "unmeasured"
    ]
    after = {key for key, taken in context.last_taken_at.items() if taken > since}
    if outside:
        return after.issuperset(outside)
    return not after.isdisjoint(finding.checks)


def _is_measured_again(finding: Finding, context: _SyncContext) -> bool:
    asked = context.requested_at.get(finding.pk)
    return asked is not None and any(
        context.last_recorded_at[key] > asked
        for key in finding.checks
        if key in context.last_recorded_at
    )


def _close_finding(
    finding: Finding, closing: Finding.Closing, context: _SyncContext
) -> None:
    finding.state = State.CLOSED
    finding.closing = closing
    finding.closed_at = context.synced_at
    finding.flagged_at = None
    context.add_event(finding, Kind.CLOSED, closing.label.capitalize() + ".")


def _flag_finding(finding: Finding, note: str, context: _SyncContext) -> None:
    if finding.flagged_at is None:
        finding.flagged_at = context.synced_at
        context.add_event(finding, Kind.FLAGGED, note)


def _open_findings(
    building: Building,
    evaluation: Evaluation,
    context: _SyncContext,
    found: Iterable[Mapping[str, Any]],
) -> None:
    """Open what is new; what the engineer accepted as it is stays accepted."""
    accepted = _find_acceptances(building, [row["finding"] for row in found])
    opened = []
    for row in found:
        before = accepted.get(row["finding"])
        changed = before and describe_differences(
            before.basis, context.check_rows, row["remedies"]
        )
        if before is not None and not changed:
            continue
        finding = Finding(
            building=building,
            topic=row["finding"],
            evaluation=evaluation,
            opened_at=context.synced_at,
            **{name: row.get(name) for name in COMPUTED_FIELDS},
        )
        opened.append(finding)
        note = f"Accepted before on other grounds. {changed}" if before else ""
        context.add_event(finding, Kind.OPENED, note)
    Finding.objects.bulk_create(opened)


def _find_acceptances(building: Building, topics: list[str]) -> dict[str, Decision]:
    """Give the acceptance that holds for each of these topics, if any."""
    closed = Finding.objects.filter(building=building, topic__in=topics).exclude(
        closed_at=None
    )
    latest: dict[str, Finding] = {}
    for finding in _prefetch_decisions(closed.order_by("closed_at", "pk")):
        latest[finding.topic] = finding
    return {
        topic: decision
        for topic, finding in latest.items()
        if finding.closing == Finding.Closing.ACCEPTED
        and (decision := get_latest_decision(finding)) is not None
    }
