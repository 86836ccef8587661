"""What the pages read: each a constant number of queries, however many jobs."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, Literal

from django.core.paginator import Page, Paginator
from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet
from django.utils.timezone import localdate

from core.models import Person, Role
from jobs.models import Building, Job, Membership, PlanRevision, Stage
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_diff import PlanChange, compare_plans

SHIPPING_WINDOW_DAYS = 7  # what "this week" means in the answer at the top
REVISIONS_PER_PAGE = 10
MAX_LISTED_BUILDINGS = 8  # buildings the answer names before it counts the rest

ACTIVE_STATES = (Stage.State.UNDER_WAY, Stage.State.HELD, Stage.State.READY)
Status = Literal["current", "finished", "all"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFilter:
    """What the address asks the list of jobs for."""

    text: str = ""
    stage: str = ""
    state: str = ""
    within: int | None = None
    findings: bool = False
    mine: bool = False
    waiting: bool = False
    status: Status = "current"


@dataclass(frozen=True, slots=True)
class BuildingRow:
    """A building with its stages in order, and what it waits for."""

    building: Building
    stages: tuple[Stage, ...]
    blocker: str
    may_ship: bool

    @property
    def unsettled(self) -> int:
        """How many required checks are not settled yet."""
        return self.building.required_checks - self.building.settled_checks


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job with its buildings; `days` until it ships, negative when past."""

    job: Job
    days_to_ship: int | None
    buildings: tuple[BuildingRow, ...]

    @property
    def steel_released(self) -> bool:
        """Whether every building's steel may leave or has left."""
        return bool(self.buildings) and all(row.may_ship for row in self.buildings)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingSummary:
    """What can ship up to and including `until`, and what stops the rest."""

    today: date
    until: date
    released: int
    ready: tuple[tuple[Job, BuildingRow], ...]
    ready_count: int
    stopped: tuple[tuple[Job, BuildingRow], ...]
    stopped_count: int
    late_count: int

    @property
    def total(self) -> int:
        """How many buildings the answer is about."""
        return self.can_ship + self.stopped_count

    @property
    def can_ship(self) -> int:
        """How many are released, or need the signature alone."""
        return self.released + self.ready_count

    @property
    def ready_unlisted(self) -> int:
        """How many wait for a signature and are not named."""
        return self.ready_count - len(self.ready)

    @property
    def stopped_unlisted(self) -> int:
        """How many are stopped and not named."""
        return self.stopped_count - len(self.stopped)


def find_jobs(person: Person, filters: JobFilter) -> QuerySet[Job]:
    """Jobs this person may see and asks for, next to ship first; rows still to come."""
    jobs = Job.objects.visible_to(person)
    finished = _has_building() & ~Exists(
        Stage.objects.filter(
            building__job=OuterRef("pk"), kind=Stage.Kind.ERECTION
        ).exclude(state=Stage.State.RELEASED)
    )
    if filters.status != "all":
        jobs = jobs.filter(finished if filters.status == "finished" else ~finished)
    for word in filters.text.split():
        jobs = jobs.filter(_matches_word(word))
    if filters.stage or filters.state:
        jobs = jobs.filter(_has_stage(filters.stage, filters.state))
    if filters.findings:
        jobs = jobs.filter(_has_building(open_findings__gt=0))
    if filters.mine:
        jobs = jobs.filter(pk__in=Membership.objects.of(person).values("job"))
    if filters.waiting:
        jobs = jobs.filter(_waits_for_person(person))
    if filters.within is not None:
        jobs = jobs.filter(ship_date__lte=localdate() + timedelta(days=filters.within))
    return jobs.order_by(F("ship_date").asc(nulls_last=True), "number")


def prefetch_buildings(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Jobs with what a row shows, in two queries more."""
    return jobs.prefetch_related(
        Prefetch("buildings", Building.objects.order_by("name")),
        Prefetch("buildings__stages", Stage.objects.order_by("pk")),
    )


def build_job_rows(jobs: Iterable[Job]) -> list[JobRow]:
    """Rows for jobs that came through `with_buildings`."""
    today = localdate()
    return [
        JobRow(
            job,
            None if job.ship_date is None else (job.ship_date - today).days,
            tuple(build_building_row(building) for building in job.buildings.all()),
        )
        for job in jobs
    ]


def build_building_row(building: Building) -> BuildingRow:
    """Put a building's stages in order and say what it waits for."""
    stages = tuple(building.stages.all())
    unreleased = [s for s in stages if s.state != Stage.State.RELEASED]
    may_ship = any(
        s.kind == Stage.Kind.VERIFICATION and s.state == Stage.State.RELEASED
        for s in stages
    )
    waits_for = _describe_blocker(building, unreleased[0]) if unreleased else ""
    return BuildingRow(building, stages, waits_for, may_ship)


def summarise_shipping(person: Person) -> ShippingSummary:
    """Say what can ship this week and what stops the rest; three queries and two.

    A building counts when its job ships within `DAYS_AHEAD` days, or should have
    shipped already and its steel is not released.
    """
    today = localdate()
    until = today + timedelta(days=SHIPPING_WINDOW_DAYS)
    gates = Stage.objects.filter(
        kind=Stage.Kind.VERIFICATION,
        building__in=Building.objects.visible_to(person),
        building__job__ship_date__lte=until,
    )
    ready, released = Q(state=Stage.State.READY), Q(state=Stage.State.RELEASED)
    counts = gates.aggregate(
        released=Count("pk", released & Q(building__job__ship_date__gte=today)),
        ready=Count("pk", ready),
        stopped=Count("pk", ~ready & ~released),
        late=Count("pk", ~released & Q(building__job__ship_date__lt=today)),
    )
    return ShippingSummary(
        today=today,
        until=until,
        released=counts["released"],
        ready=_list_gates(gates.filter(ready)),
        ready_count=counts["ready"],
        stopped=_list_gates(gates.exclude(ready | released)),
        stopped_count=counts["stopped"],
        late_count=counts["late"],
    )


@dataclass(frozen=True, slots=True)
class RevisionChanges:
    """One revision of a plan, and what it changed in the one before it."""

    revision: PlanRevision
    changes: tuple[PlanChange, ...]


def list_revisions(building: Building) -> list[RevisionChanges]:
    """Every revision of a building's plan, the one in force first; one query."""
    return _add_changes(list(_order_revisions(building)))


def paginate_revisions(
    building: Building, page: str | None
) -> tuple[Page[Any], list[RevisionChanges]]:
    """Give a page of the revisions of a building's plan, the one in force first."""
    revisions = _order_revisions(building)
    found = Paginator(revisions, REVISIONS_PER_PAGE).get_page(page)
    first = found.start_index() - 1
    # One more than is shown: the last of a page is told by the one before it.
    issues = _add_changes(list(revisions[first : first + REVISIONS_PER_PAGE + 1]))
    return found, issues[:REVISIONS_PER_PAGE]


def _order_revisions(building: Building) -> QuerySet[PlanRevision]:
    return building.revisions.select_related("drawn_by").order_by("-number")


def _add_changes(revisions: list[PlanRevision]) -> list[RevisionChanges]:
    plans = [load_plan(revision) for revision in revisions]
    issues = [
        RevisionChanges(revision, compare_plans(old, new))
        for revision, (new, old) in zip(revisions, pairwise(plans), strict=False)
    ]
    return [*issues, RevisionChanges(revisions[-1], ())]


def list_addable_people(job: Job) -> QuerySet[Person]:
    """Accounts in use that have no part in this job yet."""
    return Person.objects.filter(is_active=True).exclude(
        pk__in=job.memberships.values("person")
    )


def _list_gates(gates: QuerySet[Stage]) -> tuple[tuple[Job, BuildingRow], ...]:
    found = (
        gates.select_related("building__job")
        .prefetch_related(Prefetch("building__stages", Stage.objects.order_by("pk")))
        .order_by("building__job__ship_date", "building__job__number", "building__name")
    )[:MAX_LISTED_BUILDINGS]
    return tuple(
        (
            gate.building.job,
            replace(
                build_building_row(gate.building),
                blocker=_describe_blocker(gate.building, gate),
            ),
        )
        for gate in found
    )


def _describe_blocker(building: Building, stage: Stage) -> str:
    """Say what keeps a stage from its release; the stage's own words come first."""
    if stage.blocked_by:
        return stage.blocked_by
    if stage.state == Stage.State.READY:
        return f"signature for the {stage.get_kind_display()} stage"
    if building.undecided_findings:
        return _count_text(building.undecided_findings, "finding", "to be decided")
    if building.last_reading_at is None:
        return "nothing measured yet"
    unsettled = building.required_checks - building.settled_checks
    if unsettled:
        return _count_text(unsettled, "check", "still to measure")
    if building.open_findings:
        return _count_text(building.open_findings, "finding", "still open")
    return f"{stage.get_kind_display()} stage {stage.get_state_display()}"


def _count_text(number: int, noun: str, rest: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'} {rest}"


def _has_building(**conditions: object) -> Exists:
    return Exists(Building.objects.filter(job=OuterRef("pk"), **conditions))


def _has_stage(kind: str, state: str) -> Exists:
    stages = Stage.objects.filter(building__job=OuterRef("pk"))
    if kind:
        stages = stages.filter(kind=kind)
    return Exists(stages.filter(state__in=[state] if state else ACTIVE_STATES))


def _matches_word(word: str) -> Q:
    return (
        Q(number__icontains=word)
        | Q(name__icontains=word)
        | Q(customer__icontains=word)
        | Q(site__icontains=word)
        | Q(_has_building(name__icontains=word))
    )


def _waits_for_person(person: Person) -> Q:
    """Jobs where the next step is this person's, by the part they have there."""
    memberships = Membership.objects.of(person)

    def part(role: Role) -> Q:
        return Q(pk__in=memberships.filter(role=role).values("job"))

    to_sign = Exists(
        Stage.objects.filter(building__job=OuterRef("pk"), state=Stage.State.READY)
    )
    to_measure = _has_building(settled_checks__lt=F("required_checks"))
    return (
        (part(Role.ENGINEER) & Q(_has_building(undecided_findings__gt=0)))
        | (part(Role.OPERATIONS) & Q(to_sign))
        | (part(Role.FIELD) & Q(to_measure))
    )
