"""What people do about a finding: decide, ask again, carry out.

Every change to a rod or its plate needs the engineer (29 CFR 1926.755(b)). A remedy
whose approval is `field` (a shim within its limits) may also be ordered by the
operations manager. Nobody decides on readings they recorded themselves.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.timezone import now

from checks.labels import describe_remedy
from checks.models import (
    CarriedOut,
    Decision,
    Disposition,
    Finding,
    FindingEvent,
    Reading,
)
from checks.services.decision_snapshot import hash_snapshot, take_snapshot
from checks.services.errors import ConflictError
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
from jobs.models import Building

ACCEPT_REMEDY: dict[str, Any] = {
    "remedy": "accept",
    "approval": "engineer",
    "reason": "Accepted as it is by the engineer.",
}
WORK_CLOCK_TOLERANCE = timedelta(minutes=5)
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

    What the decision is based on is frozen with it. Use as is closes the finding;
    everything else is to be carried out and measured again.

    Parameters
    ----------
    actor : the engineer; for a remedy the field may do, the operations manager too.
    finding : what is decided on.
    choice : index in the finding's remedies, or "accept".
    disposition : a word of `Disposition`.
    note : needed where it is the decision: accepting, or a remedy not computed.
    seen : the last event the decider saw, if the page says so.
    signed_with : a word of `SignedWith`; empty where no signature was asked for.

    Raises
    ------
    PermissionDenied
        If this person may not, or took the readings.
    ConflictError
        If somebody decided meanwhile, or readings came in that nobody has seen.
    ValidationError
        If the choice does not go with the finding or the disposition.
    """
    with transaction.atomic():
        finding = _lock_finding(finding)
        remedy = _select_remedy(finding, choice)
        _require_authority(actor, finding, remedy, disposition)
        _require_decidable(finding, remedy, seen)
        _require_consistent(finding, remedy, disposition, note)
        basis = take_snapshot(finding)
        decision = Decision.objects.create(
            finding=finding,
            remedy=remedy,
            disposition=disposition,
            note=note.strip(),
            basis=basis,
            digest=hash_snapshot(basis),
            evaluation=finding.evaluation,
            engineer=actor,
            signed_with=signed_with,
        )
        record_finding_decided(decision)
        finding.flagged_at = None
        label = Disposition(disposition).label
        _record_event(
            finding, Kind.DECIDED, actor, f"{describe_remedy(remedy)}, {label}. {note}"
        )
        if disposition == Disposition.USE_AS_IS:
            finding.state = State.CLOSED
            finding.closing = Finding.Closing.ACCEPTED
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
    """Ask the field to measure a finding's checks again; the note says what and why.

    A decision not carried out yet is withdrawn by it.
    """
    with transaction.atomic():
        finding = _lock_finding(finding)
        roles = finding.building.roles_of(actor)
        require(actor, Action.REQUEST_REMEASUREMENT, roles=roles)
        _require_seen(finding, seen)
        if finding.state == State.CLOSED:
            msg = "This finding is closed; a new reading opens another if it must."
            raise ConflictError(msg)
        waits = finding.state in (State.REMEASURE, State.CARRIED_OUT)
        if waits and finding.flagged_at is None:
            msg = "This finding waits to be measured again already."
            raise ConflictError(msg)
        if not note.strip():
            msg = "Say what is to be measured again, and why."
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
) -> CarriedOut:
    """Report that a decision was carried out, and when; then it is measured again.

    Parameters
    ----------
    actor : who reports it.
    decision : what was ordered.
    at : when the work was done.
    note : what was done; needed where no photograph shows it.
    photographs : of it; where one cannot be kept, nothing is reported.
    caption : what they show.

    Raises
    ------
    ConflictError
        If the decision is not the one that holds, or is to be looked at again first.
    ValidationError
        If `at` is before the decision or to come, a photograph cannot be kept, or
        neither a photograph nor a note tells of the work.
    """
    roles = decision.finding.building.roles_of(actor)
    require(actor, Action.REPORT_WORK, roles=roles)
    files = store_uploads(photographs)
    with transaction.atomic():
        finding = _lock_finding(decision.finding)
        _require_current(finding, decision)
        if at > now() + WORK_CLOCK_TOLERANCE:
            msg = "This time is still to come; report it once it is done."
            raise ValidationError({"at": msg}, code="future")
        if at < decision.made_at.replace(second=0, microsecond=0):
            msg = (
                "This is before the decision was made: a rod is not changed before "
                "the engineer has ordered it. If it was, tell the engineer."
            )
            raise ValidationError({"at": msg}, code="before_decision")
        if not files and not note.strip():
            msg = "Add a photograph of the work, or write here what was done without."
            raise ValidationError({"note": msg}, code="not_shown")
        done = CarriedOut.objects.create(
            decision=decision, person=actor, at=at, note=note.strip()
        )
        attach_work_photographs(
            actor=actor, carried_out=done, caption=caption, files=files
        )
        finding.state = State.CARRIED_OUT
        finding.save()
        _record_event(finding, Kind.CARRIED_OUT, actor, note)
        # Readings taken since may have come in first: then they verify it now.
        evaluate_building(finding.building_id)
    return done


def explain_decision_refusal(person: Person, finding: Finding, approval: str) -> str:
    """Say why this person cannot order what needs this approval; empty if they can."""
    try:
        _require_authority(person, finding, {"approval": approval}, "")
    except PermissionDenied as error:
        return str(error)
    return ""


def _lock_finding(finding: Finding) -> Finding:
    """Fetch a finding nobody else can change until this transaction ends.

    The building first, as an evaluation does, so that the two cannot wait for each
    other.
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
        remedy.get("approval") == "field"
        and disposition != Disposition.USE_AS_IS
        and Role.OPERATIONS in roles
    )
    if not (field and actor.is_active):
        require(actor, Action.DECIDE, roles=roles)
    took = Reading.objects.filter(
        building=finding.building, check_key__in=finding.checks, recorded_by=actor
    )
    if took.exists():
        msg = "You recorded readings of this finding; somebody else decides on them."
        raise PermissionDenied(msg)


def _require_seen(finding: Finding, seen: int | None) -> None:
    if finding.building.evaluation_due_since is not None:
        msg = "Readings came in that are not evaluated yet; look again in a moment."
        raise ConflictError(msg)
    last = finding.events.order_by("-pk").values_list("pk", flat=True).first()
    if seen is not None and seen != last:
        msg = "This finding changed since you opened it; look again, then decide."
        raise ConflictError(msg)


def _require_decidable(
    finding: Finding, remedy: dict[str, Any], seen: int | None
) -> None:
    if finding.state == State.CLOSED:
        msg = f"This finding is closed: {finding.get_closing_display()}."
        raise ConflictError(msg)
    accepts_work = finding.state == State.CARRIED_OUT and remedy is ACCEPT_REMEDY
    decided = finding.state in (State.DECIDED, State.CARRIED_OUT)
    if decided and finding.flagged_at is None and not accepts_work:
        decision = get_latest_decision(finding)
        who = decision.engineer if decision else "somebody"
        msg = f"{who} decided on this finding already; ask for another measurement."
        raise ConflictError(msg)
    _require_seen(finding, seen)


def _require_consistent(
    finding: Finding, remedy: dict[str, Any], disposition: str, note: str
) -> None:
    name = remedy["remedy"]
    as_is = disposition == Disposition.USE_AS_IS
    if disposition not in Disposition.values:
        known = ", ".join(Disposition.values)
        msg = f"“{disposition}” is no disposition; there are: {known}."
        raise ValidationError({"disposition": msg}, code="disposition")
    if name == "remeasure":
        msg = "To have it measured again, ask for another measurement instead."
        raise ValidationError({"choice": msg}, code="remeasure")
    if finding.topic == "strength" and as_is:
        msg = (
            "Strength is not accepted as it is: the engineer states a sufficient "
            "strength on the plan, or the concrete gains it."
        )
        raise ValidationError({"choice": msg}, code="strength")
    if (name == "accept") is not as_is and not (as_is and name == "shift"):
        msg = (
            "Use as is goes with accepting it, or with setting the plate where it "
            "fits; another remedy is rework, repair or reject."
        )
        raise ValidationError({"disposition": msg}, code="disposition")
    if (name in ("accept", "refer") or as_is) and not note.strip():
        msg = "Write down the reason or the order: the record has only this."
        raise ValidationError({"note": msg}, code="required")


def _require_current(finding: Finding, decision: Decision) -> None:
    holds = get_latest_decision(finding)
    if holds is None or holds.pk != decision.pk:
        msg = "Another decision was made since; that one is to be carried out."
        raise ConflictError(msg)
    if finding.flagged_at is not None:
        msg = (
            "What this decision was based on has changed: the engineer looks at it "
            "again before anything is done."
        )
        raise ConflictError(msg)
    if finding.state != State.DECIDED:
        msg = f"There is nothing to carry out: it is {finding.get_state_display()}."
        raise ConflictError(msg)


def _record_event(finding: Finding, kind: Kind, actor: Person, note: str) -> None:
    event = FindingEvent.objects.create(
        finding=finding, kind=kind, person=actor, note=note.strip()
    )
    record_finding_events(finding.building, [event], actor)
