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

from checks.adapters import Given
from checks.models import Decision, Evaluation, Finding, FindingEvent, Reading
from checks.services.announcing import announce_events
from checks.services.basis import differences, names_of, plan_differs
from checks.wording import order_words
from jobs.models import Building
from jobs.plan.sheet import UnknownCheckError, find_check

State = Finding.State
Kind = FindingEvent.Kind
PASSIVE = frozenset({"wait_for_strength"})  # nothing is carried out: time does it
COMPUTED = ("checks", "severity", "likely_cause", "remedies")
FOLLOWED = (*COMPUTED, "evaluation", "state", "closed_at", "closing", "flagged_at")


@dataclass
class _Context:
    """What every finding of one building is followed by."""

    known: Given
    rows: Mapping[str, Mapping[str, Any]]  # the result's checks, by key
    taken: Mapping[str, datetime]  # newest standing reading of each check
    recorded: Mapping[str, datetime]
    asked: Mapping[int, datetime]  # when another measurement was asked for
    at: datetime
    events: list[FindingEvent] = field(default_factory=list)

    def tell(self, finding: Finding, kind: Kind, note: str = "") -> None:
        self.events.append(FindingEvent(finding=finding, kind=kind, note=note))

    def lost(self, finding: Finding) -> bool:
        """Whether readings of its checks no longer hold on the plan in force."""
        return not self.known.left_out_checks.isdisjoint(finding.checks)

    def gone(self, finding: Finding) -> bool:
        """Whether the plan in force has none of its checks."""
        return not any(self._on_plan(key) for key in finding.checks)

    def _on_plan(self, key: str) -> bool:
        try:
            find_check(self.known.measured.plan, key)
        except UnknownCheckError:
            return False
        return True


def follow_findings(building: Building, evaluation: Evaluation, known: Given) -> None:
    """Bring a building's findings up to its latest evaluation.

    In the evaluation's transaction, with the building locked. Done twice it changes
    nothing the second time.
    """
    computed = {row["finding"]: row for row in evaluation.result["findings"]}
    standing = _with_decisions(Finding.objects.filter(building=building).open())
    context = _context(building, evaluation, known, standing)
    for finding in standing:
        found = computed.get(finding.topic)
        if found is not None:
            _take_over(finding, found, context)
        _follow(finding, found, context)
        finding.evaluation = evaluation
    Finding.objects.bulk_update(standing, FOLLOWED)
    topics = {finding.topic for finding in standing}
    _open(
        building,
        evaluation,
        context,
        [row for topic, row in computed.items() if topic not in topics],
    )
    FindingEvent.objects.bulk_create(context.events)
    announce_events(building, context.events)


def _with_decisions(findings: Any) -> list[Finding]:
    decisions = Decision.objects.select_related("carried_out").order_by("pk")
    return list(findings.prefetch_related(Prefetch("decisions", decisions)))


def last_decision(finding: Finding) -> Decision | None:
    """Give what holds of a finding's decisions: the latest."""
    decisions = list(finding.decisions.all())
    return decisions[-1] if decisions else None


def _context(
    building: Building, evaluation: Evaluation, known: Given, standing: list[Finding]
) -> _Context:
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
    return _Context(
        known=known,
        rows={row["check"]: row for row in evaluation.result["checks"]},
        taken={row["check_key"]: row["taken"] for row in rows},
        recorded={row["check_key"]: row["recorded"] for row in rows},
        asked=dict(asked),
        at=now(),
    )


def _take_over(finding: Finding, found: Mapping[str, Any], context: _Context) -> None:
    """Write what was computed last; tell only of what a reader would act on."""
    before = _headline({name: getattr(finding, name) for name in COMPUTED})
    for name in COMPUTED:
        setattr(finding, name, found.get(name))
    if before != _headline(found) and finding.state != State.CARRIED_OUT:
        first = next(iter(finding.remedies), None)
        proposed = order_words(first) if first else "nothing"
        note = f"{FindingEvent.PROPOSED_NOW}{proposed}."
        context.tell(finding, Kind.CHANGED, note)


def _headline(found: Mapping[str, Any]) -> tuple[Any, ...]:
    cause = found.get("likely_cause") or {}
    return (
        names_of(found.get("remedies") or []),
        found.get("severity"),
        found.get("checks"),
        cause.get("cause"),
    )


def _follow(
    finding: Finding, found: Mapping[str, Any] | None, context: _Context
) -> None:
    """Move one finding along, by its state and by whether it is found again."""
    if found is None and context.gone(finding):
        _close(finding, Finding.Closing.SUPERSEDED, context)
    elif finding.state == State.CARRIED_OUT:
        _follow_carried_out(finding, found, context)
    elif finding.state == State.DECIDED:
        _follow_decided(finding, found, context)
    elif found is None:
        _follow_within(finding, context)
    elif finding.state == State.REMEASURE and _measured_again(finding, context):
        finding.state = State.OPEN
        context.tell(finding, Kind.CHANGED, FindingEvent.STOOD)


def _follow_within(finding: Finding, context: _Context) -> None:
    """Close what nobody decided; what was decided before waits for the engineer."""
    if context.lost(finding):
        return
    if last_decision(finding) is None:
        _close(finding, Finding.Closing.WITHIN, context)
        return
    finding.state = State.OPEN
    _flag(finding, "Within now, but decided before and not carried out.", context)


def _follow_decided(
    finding: Finding, found: Mapping[str, Any] | None, context: _Context
) -> None:
    decision = last_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    passive = decision.remedy["remedy"] in PASSIVE
    if found is None and passive and not context.lost(finding):
        _close(finding, Finding.Closing.VERIFIED, context)
    elif found is None:
        _flag(finding, "Within now, before the decision was carried out.", context)
    else:
        changed = differences(decision.basis, context.rows, finding.remedies)
        if changed and not passive:
            _flag(finding, changed, context)


def _follow_carried_out(
    finding: Finding, found: Mapping[str, Any] | None, context: _Context
) -> None:
    decision = last_decision(finding)
    assert decision is not None  # noqa: S101  # no other way into this state
    again = _measured_since(finding, decision, context)
    if found is None and again and not context.lost(finding):
        _close(finding, Finding.Closing.VERIFIED, context)
    elif found is None:
        _flag(
            finding, "Within now, but not measured since it was carried out.", context
        )
    elif again:
        changed = differences(decision.basis, context.rows, finding.remedies)
        if changed:
            _flag(finding, f"Carried out, and still outside. {changed}", context)
    elif plan_differs(decision.basis, context.rows):
        _flag(finding, "The plan or its limits changed since it was decided.", context)


def _measured_since(finding: Finding, decision: Decision, context: _Context) -> bool:
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
    after = {key for key, taken in context.taken.items() if taken > since}
    if outside:
        return after.issuperset(outside)
    return not after.isdisjoint(finding.checks)


def _measured_again(finding: Finding, context: _Context) -> bool:
    asked = context.asked.get(finding.pk)
    return asked is not None and any(
        context.recorded[key] > asked
        for key in finding.checks
        if key in context.recorded
    )


def _close(finding: Finding, closing: Finding.Closing, context: _Context) -> None:
    finding.state = State.CLOSED
    finding.closing = closing
    finding.closed_at = context.at
    finding.flagged_at = None
    context.tell(finding, Kind.CLOSED, closing.label.capitalize() + ".")


def _flag(finding: Finding, note: str, context: _Context) -> None:
    if finding.flagged_at is None:
        finding.flagged_at = context.at
        context.tell(finding, Kind.FLAGGED, note)


def _open(
    building: Building,
    evaluation: Evaluation,
    context: _Context,
    found: Iterable[Mapping[str, Any]],
) -> None:
    """Open what is new; what the engineer accepted as it is stays accepted."""
    accepted = _accepted(building, [row["finding"] for row in found])
    opened = []
    for row in found:
        before = accepted.get(row["finding"])
        changed = before and differences(before.basis, context.rows, row["remedies"])
        if before is not None and not changed:
            continue
        finding = Finding(
            building=building,
            topic=row["finding"],
            evaluation=evaluation,
            opened_at=context.at,
            **{name: row.get(name) for name in COMPUTED},
        )
        opened.append(finding)
        note = f"Accepted before on other grounds. {changed}" if before else ""
        context.tell(finding, Kind.OPENED, note)
    Finding.objects.bulk_create(opened)


def _accepted(building: Building, topics: list[str]) -> dict[str, Decision]:
    """Give the acceptance that holds for each of these topics, if any."""
    closed = Finding.objects.filter(building=building, topic__in=topics).exclude(
        closed_at=None
    )
    latest: dict[str, Finding] = {}
    for finding in _with_decisions(closed.order_by("closed_at", "pk")):
        latest[finding.topic] = finding
    return {
        topic: decision
        for topic, finding in latest.items()
        if finding.closing == Finding.Closing.ACCEPTED
        and (decision := last_decision(finding)) is not None
    }
