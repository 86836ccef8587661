"""Changes to jobs, memberships, buildings, plans and stages."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from core.models import Person, Role
from core.permissions import Action, require
from core.vocabulary import SteelState
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.values import Plan
from jobs.evaluation_due import mark_evaluation_due
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import parse_building
from jobs.models import (
    Building,
    Job,
    Membership,
    MembershipEvent,
    PlanRevision,
    Stage,
    SteelStateEvent,
)
from jobs.notifications import calendar_feed
from jobs.notifications.outbox import record_stage_change

PlanDocument = Mapping[str, object]
MAX_BLOCKED_BY_LENGTH = 200  # characters
NOT_OF_THE_PLAN = frozenset({"readings", "steel"})  # members of a document
JOB_ROLES = (Role.OPERATIONS, Role.FIELD, Role.ENGINEER)  # an account has one more


@transaction.atomic
def create_job(
    *,
    actor: Person,
    number: str,
    name: str,
    customer: str,
    site: str,
    ship_date: date | None = None,
    people: Iterable[tuple[Person, str]] = (),
) -> Job:
    """Create a job with its members; the actor becomes one too.

    An administrator does not become a member, and `people` may give the actor another
    role.
    """
    require(actor, Action.CREATE_JOB, roles={actor.role})
    job = Job(
        number=number,
        name=name,
        customer=customer,
        site=site,
        ship_date=ship_date,
        opened_by=actor,
    )
    job.full_clean()
    job.save()
    # An administrator is no member: their rights come with the account.
    roles = {} if actor.is_administrator else {actor: str(actor.role)}
    roles.update(people)
    for person, role in roles.items():
        assign_role(actor=actor, job=job, person=person, role=role)
    calendar_feed.update_ship_date(job)
    return job


@transaction.atomic
def update_job(
    *,
    actor: Person,
    job: Job,
    number: str,
    name: str,
    customer: str,
    site: str,
    ship_date: date | None,
) -> Job:
    """Update a job's details or ship date."""
    require(actor, Action.EDIT_JOB, roles=job.roles_of(actor))
    job.number, job.name, job.customer = number, name, customer
    job.site, job.ship_date = site, ship_date
    job.full_clean()
    job.save(update_fields=["number", "name", "customer", "site", "ship_date"])
    calendar_feed.update_ship_date(job)
    return job


@transaction.atomic
def set_membership(
    *, actor: Person, job: Job, person: Person, role: str | None
) -> None:
    """Assign a person's role on a job, or (None) remove them from it.

    Raises
    ------
    ValidationError
        If the job would be left without an operations manager, or the person cannot
        have the role.
    """
    require(actor, Action.MANAGE_PEOPLE, roles=job.roles_of(actor))
    # Two changes at once must not each remove "the other" manager.
    Job.objects.select_for_update().get(pk=job.pk)
    # Lazy on purpose: the same query is asked before and after the change.
    managers = job.memberships.filter(role=Role.OPERATIONS)
    was_managed = managers.exists()
    if role is None:
        remove_memberships(
            actor=actor, memberships=job.memberships.filter(person=person)
        )
    else:
        assign_role(actor=actor, job=job, person=person, role=role)
    # A job created by an administrator may have no manager yet.
    if was_managed and not managers.exists():
        msg = (
            "A job needs at least one operations manager: "
            "give somebody else this role first."
        )
        raise ValidationError(msg, code="nobody_left")


@transaction.atomic
def add_building(
    *, actor: Person, job: Job, document: PlanDocument, note: str = ""
) -> Building:
    """Add a building to a job, with revision 1 of its plan and three stages.

    The building takes the state of its steel from the document. Readings in the
    document are not recorded here.

    Raises
    ------
    jobs.exchange.input.json_reader.DocumentError
        With every error of the document and its place.
    ValidationError
        If the job already has a building of this name.
    """
    require(actor, Action.EDIT_PLAN, roles=job.roles_of(actor))
    plan = parse_building(document).plan
    Job.objects.select_for_update().get(pk=job.pk)  # a second of the same name waits
    building = Building(
        job=job,
        name=plan.name,
        steel=plan.steel.value,
        required_checks=count_required_checks(plan),
    )
    _validate_building(building)
    building.save()
    Stage.objects.bulk_create(
        Stage(building=building, kind=kind) for kind in Stage.Kind
    )
    _create_revision(actor, building, 1, document, note)
    if "steel" in document:
        _record_steel_state(actor, building, SteelStateEvent.Cause.IMPORTED)
    return building


@transaction.atomic
def revise_plan(
    *, actor: Person, building: Building, document: PlanDocument, note: str
) -> PlanRevision:
    """Issue a new revision of a building's plan; the old ones are kept.

    The building takes the plan's name and is marked as due for evaluation. The state
    of its steel stays: a document drawn up earlier must not call shipped steel back.

    Raises
    ------
    jobs.exchange.input.json_reader.DocumentError
        With every error of the document and its place.
    ValidationError
        If the plan is identical to the one in force, or another building has its name.
    """
    require(actor, Action.EDIT_PLAN, roles=building.roles_of(actor))
    plan = parse_building(document).plan
    building = Building.objects.select_for_update().get(pk=building.pk)
    current = building.current_revision()
    if sha256_of(extract_plan_document(document)) == current.digest:
        msg = (
            f"This plan is identical to revision {current.number}, which is in force. "
            "Change something before you issue a revision."
        )
        raise ValidationError(msg, code="identical")
    building.name = plan.name
    _validate_building(building)
    building.save(update_fields=["name"])
    mark_evaluation_due(building)
    return _create_revision(actor, building, current.number + 1, document, note)


@transaction.atomic
def set_steel_state(
    *, actor: Person, building: Building, state: str, note: str = ""
) -> bool:
    """Record how far a building's steel is, and mark the building for evaluation.

    Returns
    -------
    bool : False if the steel is in this state already; then nothing is recorded.

    Raises
    ------
    ValidationError
        If the state is unknown, or shipped steel is called back without a note.
    """
    require(actor, Action.SET_STEEL_STATE, roles=building.roles_of(actor))
    if state not in SteelState.values():
        known = ", ".join(SteelState.values())
        msg = f"“{state}” is not a state of the steel. Choose one of: {known}."
        raise ValidationError({"state": ValidationError(msg, code="state")})
    building = Building.objects.select_for_update().get(pk=building.pk)
    called_back = building.steel == SteelState.SHIPPED and state != building.steel
    if called_back and not note.strip():
        msg = "This steel is recorded as shipped. Say in the note why it is not."
        raise ValidationError({"note": ValidationError(msg, code="required")})
    return _change_steel_state(actor, building, state, SteelStateEvent.Cause.SET, note)


def mark_steel_shipped(*, actor: Person, building: Building) -> bool:
    """Record that a ship release lets the steel go.

    The release holds the transaction and the lock, and has checked permission.
    """
    return _change_steel_state(
        actor, building, SteelState.SHIPPED, SteelStateEvent.Cause.SHIP_RELEASE
    )


def set_stage_state(
    building: Building,
    kind: str,
    state: str,
    blocked_by: str = "",
    *,
    stage: Stage | None = None,
) -> None:
    """Set the state of a stage and, in a few words, what blocks it.

    Called by the evaluation and by releases, inside their transaction. The verification
    stage is released when the steel may leave (ship release). The erect release is the
    first thing that blocks the erection stage.

    Parameters
    ----------
    building, kind : the stage.
    state : a `Stage.State`.
    blocked_by : what blocks it.
    stage : the row, where it is loaded already.
    """
    blocked_by = _truncate(blocked_by)
    stage = stage or Stage.objects.get(building=building, kind=kind)
    changed = stage.state != state
    if changed or stage.blocked_by != blocked_by:
        stage.state, stage.blocked_by = Stage.State(state), blocked_by
        stage.save(update_fields=["state", "blocked_by", "changed_at"])
    if changed:
        record_stage_change(stage, building)


def set_progress(
    building: Building,
    *,
    required_checks: int,
    settled_checks: int,
    open_findings: int,
    undecided_findings: int,
    last_reading_at: datetime | None,
) -> None:
    """Save a building's progress figures. The evaluation holds the transaction.

    `evaluation_due_since` and `evaluated_change` are saved too, as the caller left
    them: one statement less.
    """
    building.required_checks = required_checks
    building.settled_checks = settled_checks
    building.open_findings = open_findings
    building.undecided_findings = undecided_findings
    building.last_reading_at = last_reading_at
    building.save(
        update_fields=[
            "required_checks",
            "settled_checks",
            "open_findings",
            "undecided_findings",
            "last_reading_at",
            "evaluation_due_since",
            "evaluated_change",
        ]
    )


def extract_plan_document(document: PlanDocument) -> dict[str, object]:
    """Return the plan of a document: without its readings and the state of its steel.

    The steel is left out because a building that ships is no new revision of its plan.
    """
    return {key: value for key, value in document.items() if key not in NOT_OF_THE_PLAN}


def count_required_checks(plan: Plan) -> int:
    """Count the checks that a plan requires."""
    return sum(check.required for check in build_check_sheet(plan))


def assign_role(*, actor: Person, job: Job, person: Person, role: str) -> None:
    """Assign a person's role on a job. The caller has checked permission.

    Raises
    ------
    ValidationError
        If the role is unknown, or the person cannot have it.
    """
    if not person.is_active:
        msg = f"The account of {person} is closed. Reopen it first."
        raise ValidationError(msg, code="inactive")
    if role not in JOB_ROLES:
        known = ", ".join(each.label for each in JOB_ROLES)
        msg = f"“{role}” is not a role on a job. Choose one of: {known}."
        raise ValidationError(msg, code="role")
    # Engineers decide about steel and concrete. An operations manager must not be able
    # to make somebody an engineer, least of all themselves.
    if role == Role.ENGINEER and person.role != Role.ENGINEER:
        msg = (
            f"{person} is {Role(person.role).label}, not engineer. An administrator "
            "must change the account first."
        )
        raise ValidationError(msg, code="not_an_engineer")
    if job.memberships.filter(person=person, role=role).exists():
        return
    Membership.objects.update_or_create(job=job, person=person, defaults={"role": role})
    MembershipEvent.objects.create(job=job, person=person, role=role, by=actor)


def remove_memberships(
    *, actor: Person, memberships: QuerySet[Membership]
) -> list[Membership]:
    """Remove memberships. The caller has checked permission, in the transaction."""
    removed = list(memberships.select_related("job").order_by("job__number"))
    Membership.objects.filter(pk__in=[each.pk for each in removed]).delete()
    MembershipEvent.objects.bulk_create(
        MembershipEvent(job=each.job, person_id=each.person_id, role="", by=actor)
        for each in removed
    )
    return removed


def _change_steel_state(
    actor: Person,
    building: Building,
    state: str,
    cause: SteelStateEvent.Cause,
    note: str = "",
) -> bool:
    if building.steel == state:
        return False
    building.steel = state
    building.save(update_fields=["steel"])
    # The order of the remedies depends on it, so the last result is out of date.
    mark_evaluation_due(building)
    _record_steel_state(actor, building, cause, note)
    return True


def _record_steel_state(
    actor: Person, building: Building, cause: SteelStateEvent.Cause, note: str = ""
) -> None:
    event = SteelStateEvent(
        building=building,
        state=building.steel,
        cause=cause,
        note=note.strip(),
        by=actor,
    )
    event.full_clean()
    event.save(force_insert=True)


def _create_revision(
    actor: Person, building: Building, number: int, document: PlanDocument, note: str
) -> PlanRevision:
    plan_alone = extract_plan_document(document)
    revision = PlanRevision(
        building=building,
        number=number,
        document=plan_alone,
        digest=sha256_of(plan_alone),
        note=note.strip(),
        drawn_by=actor,
    )
    revision.full_clean()
    # An update would be refused by the append-only trigger.
    revision.save(force_insert=True)
    return revision


def _validate_building(building: Building) -> None:
    taken = Building.objects.filter(job=building.job_id, name=building.name)
    if taken.exclude(pk=building.pk).exists():
        msg = (
            f"This job already has a building called “{building.name}”. "
            "Use another name."
        )
        raise ValidationError({"name": ValidationError(msg, code="taken")})
    building.full_clean(exclude=["job"])


def _truncate(text: str) -> str:
    if len(text) <= MAX_BLOCKED_BY_LENGTH:
        return text
    return f"{text[: MAX_BLOCKED_BY_LENGTH - 1]}…"
