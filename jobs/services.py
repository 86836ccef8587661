"""Every change to jobs, their people, buildings, plans and stages."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.timezone import now

from core.models import Person, Role
from core.permissions import Action, require
from jobs.exchange.canonical import digest
from jobs.exchange.parse import read_building
from jobs.models import Building, Job, Membership, PlanRevision, Stage
from jobs.notices import calendar
from jobs.notices.announcing import announce_stage
from jobs.people.models import MembershipEvent
from jobs.plan.model import Plan
from jobs.plan.sheet import check_sheet

Document = Mapping[str, object]
LONGEST_REASON = 200  # characters of what blocks a stage
PARTS = (Role.OPERATIONS, Role.FIELD, Role.ENGINEER)  # in a job; accounts have more


@transaction.atomic
def open_job(
    *,
    actor: Person,
    number: str,
    name: str,
    customer: str,
    site: str,
    ship_date: date | None = None,
    people: Iterable[tuple[Person, str]] = (),
) -> Job:
    """Open a job; whoever opens it works on it unless `people` says otherwise."""
    require(actor, Action.OPEN_JOB, roles={actor.role})
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
    roles = {} if actor.is_administrator else {actor: str(actor.role)}
    roles.update(people)
    for person, role in roles.items():
        give_part(actor=actor, job=job, person=person, role=role)
    calendar.note_ship_date(job)
    return job


@transaction.atomic
def change_job(
    *,
    actor: Person,
    job: Job,
    number: str,
    name: str,
    customer: str,
    site: str,
    ship_date: date | None,
) -> Job:
    """Put other words or another ship date on a job."""
    require(actor, Action.EDIT_JOB, roles=job.roles_of(actor))
    job.number, job.name, job.customer = number, name, customer
    job.site, job.ship_date = site, ship_date
    job.full_clean()
    job.save(update_fields=["number", "name", "customer", "site", "ship_date"])
    calendar.note_ship_date(job)
    return job


@transaction.atomic
def set_member(*, actor: Person, job: Job, person: Person, role: str | None) -> None:
    """Give a person a part in a job, another part, or (None) none.

    Raises
    ------
    ValidationError
        If nobody would be left to run the job, or the part is not for this person.
    """
    require(actor, Action.MANAGE_PEOPLE, roles=job.roles_of(actor))
    Job.objects.select_for_update().get(pk=job.pk)
    managers = job.memberships.filter(role=Role.OPERATIONS)
    was_managed = managers.exists()
    if role is None:
        take_parts(actor=actor, parts=job.memberships.filter(person=person))
    else:
        give_part(actor=actor, job=job, person=person, role=role)
    if was_managed and not managers.exists():
        msg = (
            "A job keeps at least one operations manager: "
            "give somebody else that part first."
        )
        raise ValidationError(msg, code="nobody_left")


@transaction.atomic
def add_building(
    *, actor: Person, job: Job, document: Document, note: str = ""
) -> Building:
    """Add a building to a job with the first issue of its plan and three stages.

    Readings the document carries are not recorded here.

    Raises
    ------
    jobs.exchange.parse.DocumentError
        With every place where the document does not fit.
    ValidationError
        If the job has a building of this name.
    """
    require(actor, Action.DRAW_PLAN, roles=job.roles_of(actor))
    plan = read_building(document).plan
    Job.objects.select_for_update().get(pk=job.pk)  # two of one name: the second waits
    building = Building(job=job, name=plan.name, required_checks=required_checks(plan))
    _clean_building(building)
    building.save()
    Stage.objects.bulk_create(
        Stage(building=building, kind=kind) for kind in Stage.Kind
    )
    _issue(actor, building, 1, document, note)
    return building


@transaction.atomic
def revise_plan(
    *, actor: Person, building: Building, document: Document, note: str
) -> PlanRevision:
    """Issue another revision of a building's plan; the old ones are kept.

    The building takes the name the plan now gives it, and is due for evaluation.

    Raises
    ------
    jobs.exchange.parse.DocumentError
        With every place where the document does not fit.
    ValidationError
        If the plan in force is the same, or another building has its name.
    """
    require(actor, Action.DRAW_PLAN, roles=building.roles_of(actor))
    plan = read_building(document).plan
    building = Building.objects.select_for_update().get(pk=building.pk)
    current = building.current_revision()
    if digest(without_readings(document)) == current.digest:
        msg = (
            f"This is revision {current.number}, the plan in force: nothing in it "
            "differs. A revision needs at least one change."
        )
        raise ValidationError(msg, code="identical")
    building.name = plan.name
    _clean_building(building)
    building.evaluation_due_since = building.evaluation_due_since or now()
    building.save(update_fields=["name", "evaluation_due_since"])
    return _issue(actor, building, current.number + 1, document, note)


def set_stage_state(
    building: Building, kind: str, state: str, blocked_by: str = ""
) -> None:
    """Write where a stage stands, and in a few words what blocks it.

    For the evaluation and the releases, inside their own transaction. The
    verification stage is released when the steel may leave (ship release); the
    erect release is the first thing the erection stage is held by.
    """
    blocked_by = _clipped(blocked_by)
    stage = Stage.objects.get(building=building, kind=kind)
    moved = stage.state != state
    if moved or stage.blocked_by != blocked_by:
        stage.state, stage.blocked_by = Stage.State(state), blocked_by
        stage.save(update_fields=["state", "blocked_by", "changed_at"])
    if moved:
        announce_stage(stage, building)


def set_progress(
    building: Building,
    *,
    required_checks: int,
    settled_checks: int,
    open_findings: int,
    undecided_findings: int,
    last_reading_at: datetime | None,
) -> None:
    """Write what the overview shows of a building, in the evaluation's transaction."""
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
        ]
    )


def without_readings(document: Document) -> dict[str, object]:
    """Give the plan alone: a document less what was measured."""
    return {key: value for key, value in document.items() if key != "readings"}


def required_checks(plan: Plan) -> int:
    """Count the checks a plan asks for."""
    return sum(check.required for check in check_sheet(plan))


def give_part(*, actor: Person, job: Job, person: Person, role: str) -> None:
    """Give a person a part in a job; within a transaction that asked whether to.

    Raises
    ------
    ValidationError
        If the part is none, or not for this person.
    """
    if not person.is_active:
        msg = f"{person} has no account any more and cannot work on a job."
        raise ValidationError(msg, code="inactive")
    if role not in PARTS:
        known = ", ".join(part.label for part in PARTS)
        msg = f"“{role}” is no part in a job; there are: {known}."
        raise ValidationError(msg, code="role")
    # Decisions about steel and concrete are an engineer's: nobody becomes one by
    # being put on a job, least of all by their own hand.
    if role == Role.ENGINEER and person.role != Role.ENGINEER:
        msg = (
            f"{person} has an account as {Role(person.role).label}, not as "
            "engineer: an administrator changes that first."
        )
        raise ValidationError(msg, code="not_an_engineer")
    if job.memberships.filter(person=person, role=role).exists():
        return
    Membership.objects.update_or_create(job=job, person=person, defaults={"role": role})
    MembershipEvent.objects.create(job=job, person=person, role=role, by=actor)


def take_parts(*, actor: Person, parts: QuerySet[Membership]) -> list[Membership]:
    """Take parts in jobs away; within a transaction that asked whether to."""
    taken = list(parts.select_related("job").order_by("job__number"))
    Membership.objects.filter(pk__in=[part.pk for part in taken]).delete()
    MembershipEvent.objects.bulk_create(
        MembershipEvent(job=part.job, person_id=part.person_id, role="", by=actor)
        for part in taken
    )
    return taken


def _issue(
    actor: Person, building: Building, number: int, document: Document, note: str
) -> PlanRevision:
    plan_alone = without_readings(document)
    revision = PlanRevision(
        building=building,
        number=number,
        document=plan_alone,
        digest=digest(plan_alone),
        note=note.strip(),
        drawn_by=actor,
    )
    revision.full_clean()
    revision.save(force_insert=True)
    return revision


def _clean_building(building: Building) -> None:
    taken = Building.objects.filter(job=building.job_id, name=building.name)
    if taken.exclude(pk=building.pk).exists():
        msg = (
            f"This job already has a building called “{building.name}”: "
            "give one of them another name."
        )
        raise ValidationError({"name": ValidationError(msg, code="taken")})
    building.full_clean(exclude=["job"])


def _clipped(text: str) -> str:
    if len(text) <= LONGEST_REASON:
        return text
    return f"{text[: LONGEST_REASON - 1]}…"
