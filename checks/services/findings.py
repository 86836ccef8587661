"""Actions on a finding: decide, request another measurement, report work as done.

Every change to a rod or its plate needs the engineer: 29 CFR 1926.755(b), by
1926.752(a)(2), beside 1926.758(a), which takes systems-engineered metal buildings out
of 1926.755. A remedy whose approval is `field` (a shim within its limits) may also be
ordered by the operations manager. Nobody decides on readings they recorded themselves.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.timezone import now

from checks.evaluation.finding_topics import TopicKind
from checks.labels import describe_check_key, describe_remedy
from checks.models import (
    Decision,
    Finding,
    FindingEvent,
    Reading,
    WorkReport,
)
from checks.services.decision_snapshot import hash_snapshot, take_snapshot
from checks.services.errors import ConflictCode, ConflictError, OwnReadingsError
from checks.services.evaluation import evaluate_building
from checks.services.finding_lifecycle import get_latest_decision
from checks.services.outbox import record_finding_decided, record_finding_events
from checks.services.photographs import (
    UploadedPhotograph,
    attach_work_photographs,
    store_uploads,
)
from checks.services.stages import update_building_status
from core.models import Person, Role
from core.permissions import Action, require
from core.vocabulary import Approval, DispositionKind, RemedyKind
from jobs.models import Building

ACCEPT_REMEDY: dict[str, Any] = {
    "remedy": RemedyKind.ACCEPT.value,
    "approval": Approval.ENGINEER.value,
    "reason": "Accepted as it is by the engineer.",
}
WORK_CLOCK_TOLERANCE = timedelta(minutes=5)  # a phone's clock; project choice
State = Finding.State
Kind = FindingEvent.Kind


def decide_finding(
    *,
    actor: Person,
    finding: Finding,
    choice: int | Literal["accept"],
    disposition: str,
    note: str = "",
    seen: int | None = None,
    signed_with: str = "",
) -> Decision:
    """Order one of a finding's remedies, or accept it as it is.

    A snapshot of what the decision is based on is stored with it. "Use as is" closes
    the finding; every other disposition needs work and another measurement.

    Parameters
    ----------
    actor : the engineer; for a remedy the field may do, the operations manager too.
    finding : what is decided on.
    choice : index in the finding's remedies, or "accept".
    disposition : a `DispositionKind`.
    note : required for accepting, for a remedy that is not computed, and for one that
        waits for an independent repeat of its readings.
    seen : key of the last event that the page showed, if it is known.
    signed_with : a `SignatureMethod`; empty where no signature was required.

    Raises
    ------
    PermissionDenied
        If this person may not, or took the readings.
    ConflictError
        If somebody decided meanwhile, or new readings are not evaluated yet.
    ValidationError
        If the choice does not fit the finding or the disposition.
    """
    with transaction.atomic():
        finding = _lock_finding(finding)
        remedy = _select_remedy(finding, choice)
        _require_authority(actor, finding, remedy, disposition)
        _require_decidable(finding, remedy, seen)
        _require_consistent(finding, remedy, disposition, note)
        snapshot = take_snapshot(finding)
        decision = Decision.objects.create(
            finding=finding,
            remedy=remedy,
            disposition=disposition,
            note=note.strip(),
            snapshot=snapshot,
            digest=hash_snapshot(snapshot),
            evaluation=finding.evaluation,
            engineer=actor,
            signed_with=signed_with,
        )
        record_finding_decided(decision)
        finding.flagged_at = None
        label = DispositionKind(disposition).label
        _record_event(
            finding, Kind.DECIDED, actor, f"{describe_remedy(remedy)}, {label}. {note}"
        )
        if disposition == DispositionKind.USE_AS_IS:
            finding.state = State.CLOSED
            finding.closed_reason = Finding.ClosedReason.ACCEPTED
            finding.closed_at = now()
            _record_event(
                finding, Kind.CLOSED, actor, "Accepted as is by the engineer."
            )
        else:
            finding.state = State.DECIDED
        finding.save()
        update_building_status(finding.building)
    return decision


def request_remeasurement(
    *, actor: Person, finding: Finding, note: str, seen: int | None = None
) -> None:
    """Ask the field to measure a finding's checks again.

    The note says what to measure and why. A decision whose work is not done yet is
    withdrawn.
    """
    with transaction.atomic():
        finding = _lock_finding(finding)
        roles = finding.building.roles_of(actor)
        require(actor, Action.REQUEST_REMEASUREMENT, roles=roles)
        _require_seen(finding, seen)
        if finding.state == State.CLOSED:
            msg = "This finding is closed. A reading outside opens a new one."
            raise ConflictError(msg, ConflictCode.CLOSED)
        waits = finding.state in (State.REMEASURE, State.CARRIED_OUT)
        if waits and finding.flagged_at is None:
            msg = "Another measurement is requested already."
            raise ConflictError(msg, ConflictCode.ALREADY_REQUESTED)
        if not finding.checks:
            msg = (
                "Nothing is measured of this finding: it is about the plan. Revise the "
                "plan, or decide on it."
            )
            raise ValidationError({"note": msg}, code="nothing_measured")
        if not note.strip():
            msg = "Write what to measure again, and why."
            raise ValidationError({"note": msg}, code="required")
        if finding.state != State.CARRIED_OUT:
            finding.state = State.REMEASURE
        finding.flagged_at = None
        finding.save()
        _record_event(finding, Kind.ASKED_AGAIN, actor, note)
        update_building_status(finding.building)


def report_work_done(
    *,
    actor: Person,
    decision: Decision,
    at: datetime,
    note: str = "",
    photographs: Sequence[UploadedPhotograph] = (),
    caption: str = "",
) -> WorkReport:
    """Report that the work of a decision was done; then it is measured again.

    Parameters
    ----------
    actor : who reports it.
    decision : what was ordered.
    at : when the work was done.
    note : what was done; required without a photograph.
    photographs : of the work; if one cannot be stored, nothing is reported.
    caption : what they show.

    Raises
    ------
    ConflictError
        If the decision is not in force, or needs a review first.
    ValidationError
        If `at` is before the decision or in the future, a photograph cannot be
        stored, or there is neither a photograph nor a note.
    """
    roles = decision.finding.building.roles_of(actor)
    require(actor, Action.REPORT_WORK, roles=roles)
    files = store_uploads(photographs)
    with transaction.atomic():
        finding = _lock_finding(decision.finding)
        _require_current(finding, decision)
        if at > now() + WORK_CLOCK_TOLERANCE:
            msg = "This time is in the future. Report the work once it is done."
            raise ValidationError({"at": msg}, code="future")
        if at < decision.made_at.replace(second=0, microsecond=0):
            msg = (
                "This is before the decision. No rod is changed before the engineer "
                "orders it; if one was, tell the engineer."
            )
            raise ValidationError({"at": msg}, code="before_decision")
        if not files and not note.strip():
            msg = "Add a photograph of the work, or write what was done."
            raise ValidationError({"note": msg}, code="not_shown")
        done = WorkReport.objects.create(
            decision=decision, person=actor, at=at, note=note.strip()
        )
        attach_work_photographs(
            actor=actor, work_report=done, caption=caption, files=files
        )
        finding.state = State.CARRIED_OUT
        finding.save()
        _record_event(finding, Kind.CARRIED_OUT, actor, note)
        # Readings taken after the work may be recorded already; they verify it now.
        evaluate_building(finding.building_id)
    return done


def explain_decision_refusal(person: Person, finding: Finding, approval: str) -> str:
    """Return why a person cannot order what needs this approval; empty if they can."""
    try:
        _require_authority(person, finding, {"approval": approval}, "")
    except PermissionDenied as error:
        return str(error)
    return ""


def _lock_finding(finding: Finding) -> Finding:
    """Load a finding that nobody else can change until this transaction ends.

    Lock the building first: every service locks in this order, so that no two wait
    for each other.
    """
    Building.objects.select_for_update(no_key=True).get(pk=finding.building_id)
    return Finding.objects.select_related("building__job", "evaluation__revision").get(
        pk=finding.pk
    )


def _select_remedy(finding: Finding, choice: int | str) -> dict[str, Any]:
    if choice == "accept":
        return ACCEPT_REMEDY
    remedies: list[dict[str, Any]] = finding.remedies
    if not isinstance(choice, int) or not 0 <= choice < len(remedies):
        msg = (
            f"There is no remedy {choice}: choose 0 to {len(remedies) - 1}, or accept."
        )
        raise ValidationError({"choice": msg}, code="choice")
    return remedies[choice]


def _require_authority(
    actor: Person, finding: Finding, remedy: dict[str, Any], disposition: str
) -> None:
    roles = finding.building.roles_of(actor)
    field = (
        remedy.get("approval") == Approval.FIELD
        and disposition != DispositionKind.USE_AS_IS
        and Role.OPERATIONS in roles
    )
    if not (field and actor.is_active):
        require(actor, Action.DECIDE, roles=roles)
    took = Reading.objects.filter(
        building=finding.building, check_key__in=finding.checks, recorded_by=actor
    )
    if took.exists():
        raise OwnReadingsError


def _require_seen(finding: Finding, seen: int | None) -> None:
    if finding.building.evaluation_due_since is not None:
        msg = "New readings are not evaluated yet. Try again in a moment."
        raise ConflictError(msg, ConflictCode.NOT_EVALUATED)
    last = finding.events.order_by("-pk").values_list("pk", flat=True).first()
    if seen is not None and seen != last:
        msg = "This finding changed since you opened it. Review it, then decide."
        raise ConflictError(msg, ConflictCode.CHANGED_SINCE)


def _require_decidable(
    finding: Finding, remedy: dict[str, Any], seen: int | None
) -> None:
    if finding.state == State.CLOSED:
        msg = f"This finding is closed: {finding.get_closed_reason_display()}."
        raise ConflictError(msg, ConflictCode.CLOSED)
    accepts_work = finding.state == State.CARRIED_OUT and remedy is ACCEPT_REMEDY
    decided = finding.state in (State.DECIDED, State.CARRIED_OUT)
    if decided and finding.flagged_at is None and not accepts_work:
        decision = get_latest_decision(finding)
        who = decision.engineer if decision else "somebody"
        msg = f"Decided by {who} already. Request another measurement instead."
        raise ConflictError(msg, ConflictCode.ALREADY_DECIDED)
    _require_seen(finding, seen)


def _require_consistent(
    finding: Finding, remedy: dict[str, Any], disposition: str, note: str
) -> None:
    name = remedy["remedy"]
    as_is = disposition == DispositionKind.USE_AS_IS
    if disposition not in DispositionKind.values():
        known = ", ".join(DispositionKind.values())
        msg = f"“{disposition}” is no disposition; choose one of {known}."
        raise ValidationError({"disposition": msg}, code="disposition")
    if name == RemedyKind.REMEASURE:
        msg = "Request another measurement instead of deciding."
        raise ValidationError({"choice": msg}, code="remeasure")
    if finding.topic == TopicKind.STRENGTH and as_is:
        msg = (
            "Strength cannot be accepted as it is. The engineer states a sufficient "
            "strength on the plan, or the concrete gains it."
        )
        raise ValidationError({"choice": msg}, code="strength")
    accepts = name == RemedyKind.ACCEPT
    if accepts is not as_is and not (as_is and name == RemedyKind.SHIFT):
        msg = (
            "“Use as is” fits accepting the finding or shifting the plate. For any "
            "other remedy choose rework, repair or reject."
        )
        raise ValidationError({"disposition": msg}, code="disposition")
    if remedy.get("unconfirmed") and not note.strip():
        waiting = "; ".join(describe_check_key(key) for key in remedy["unconfirmed"])
        msg = (
            f"Nobody repeated these readings independently: {waiting}. Request another "
            "measurement, or write why this is ordered all the same."
        )
        raise ValidationError({"note": msg}, code="unconfirmed")
    if (name in (RemedyKind.ACCEPT, RemedyKind.REFER) or as_is) and not note.strip():
        msg = "Write the reason or the order: nothing else of it is in the record."
        raise ValidationError({"note": msg}, code="required")


def _require_current(finding: Finding, decision: Decision) -> None:
    holds = get_latest_decision(finding)
    if holds is None or holds.pk != decision.pk:
        msg = "Another decision was made since. Do the work of that one."
        raise ConflictError(msg, ConflictCode.DECISION_REPLACED)
    if finding.flagged_at is not None:
        msg = (
            "What this decision was based on has changed. The engineer reviews it "
            "before any work is done."
        )
        raise ConflictError(msg, ConflictCode.DECISION_OUTDATED)
    if finding.state != State.DECIDED:
        msg = f"There is no work to report: {finding.get_state_display()}."
        raise ConflictError(msg, ConflictCode.NOT_DECIDED)


def _record_event(finding: Finding, kind: Kind, actor: Person, note: str) -> None:
    event = FindingEvent.objects.create(
        finding=finding, kind=kind, person=actor, note=note.strip()
    )
    record_finding_events(finding.building, [event], actor)
