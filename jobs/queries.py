"""Queries for the job pages, each a constant number however many jobs there are."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet
from django.utils.timezone import localdate

from core.models import Person, Role
from jobs.models import Building, Job, Membership, Stage

SHIPPING_WINDOW_DAYS = 7  # "this week" in the shipping summary
MAX_LISTED_BUILDINGS = 8  # in the shipping summary; the rest is counted

ACTIVE_STATES = (Stage.State.UNDER_WAY, Stage.State.HELD, Stage.State.READY)
Status = Literal["current", "finished", "all"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFilter:
    """Filters of the list of jobs."""

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
    """A building with its stages in order, and what blocks it."""

    building: Building
    stages: tuple[Stage, ...]
    blocker: str
    may_ship: bool

    @property
    def findings_text(self) -> str:
        """Number of open findings, and how many of them need a decision."""
        count = self.building.open_findings
        if not count:
            return "No open findings"
        text = _count_text(count, "open finding", "").strip()
        undecided = self.building.undecided_findings
        return f"{text}, {undecided} to decide" if undecided else text


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job with its buildings; `days_to_ship` is negative when overdue."""

    job: Job
    days_to_ship: int | None
    buildings: tuple[BuildingRow, ...]

    @property
    def steel_released(self) -> bool:
        """True if the steel of every building is released to ship."""
        return bool(self.buildings) and all(row.may_ship for row in self.buildings)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingSummary:
    """Buildings that can ship up to and including `until`, and those blocked."""

    today: date
    until: date
    released: int
    ready: tuple[tuple[Job, BuildingRow], ...]
    ready_count: int
    stopped: tuple[tuple[Job, BuildingRow], ...]
    stopped_count: int
    late_count: int

    @property
    def headline(self) -> str:
        """The summary in one sentence."""
        until = f"{self.until.day} {self.until:%b %Y}"
        if not self.total:
            return f"Nothing is due to ship by {until}."
        noun = "building" if self.total == 1 else "buildings"
        return f"{self.can_ship} of {self.total} {noun} due by {until} can ship."

    @property
    def total(self) -> int:
        """Number of buildings in the summary."""
        return self.can_ship + self.stopped_count

    @property
    def can_ship(self) -> int:
        """Number of buildings released, or ready for the signature."""
        return self.released + self.ready_count

    @property
    def ready_unlisted(self) -> int:
        """Number of buildings ready for the signature that are not listed."""
        return self.ready_count - len(self.ready)

    @property
    def stopped_unlisted(self) -> int:
        """Number of blocked buildings that are not listed."""
        return self.stopped_count - len(self.stopped)


def find_jobs(person: Person, filters: JobFilter) -> QuerySet[Job]:
    """Find the jobs a person may see and filters for, next to ship first."""
    jobs = Job.objects.visible_to(person)
    # A job without buildings has no unreleased stage, but is not finished.
    finished = _has_building() & ~Exists(
        Stage.objects.filter(
            building__job=OuterRef("pk"), kind=Stage.Kind.ERECTION
        ).exclude(state=Stage.State.RELEASED)
    )
    if filters.status != "all":
        jobs = jobs.filter(finished if filters.status == "finished" else ~finished)
    # Every word must match somewhere, so that "hall R-2" narrows the list.
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
    """Prefetch buildings and stages for `build_job_rows`: two more queries."""
    return jobs.prefetch_related(
        Prefetch("buildings", Building.objects.order_by("name")),
        Prefetch("buildings__stages", Stage.objects.order_by("pk")),
    )


def build_job_rows(jobs: Iterable[Job]) -> list[JobRow]:
    """Build the rows of jobs that came through `prefetch_buildings`."""
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
    """Build the row of a building: its stages, and what blocks it."""
    stages = tuple(building.stages.all())
    unreleased = [s for s in stages if s.state != Stage.State.RELEASED]
    may_ship = any(
        s.kind == Stage.Kind.VERIFICATION and s.state == Stage.State.RELEASED
        for s in stages
    )
    # Stages follow one another: only the first that is not released can be blocked.
    blocker = _describe_blocker(building, unreleased[0]) if unreleased else ""
    return BuildingRow(building, stages, blocker, may_ship)


def summarise_shipping(person: Person) -> ShippingSummary:
    """Summarise what can ship this week and what blocks the rest; five queries.

    A building counts if its job ships within `SHIPPING_WINDOW_DAYS` days, or is overdue
    and its steel is not released.
    """
    today = localdate()
    until = today + timedelta(days=SHIPPING_WINDOW_DAYS)
    gates = Stage.objects.filter(
        kind=Stage.Kind.VERIFICATION,
        building__in=Building.objects.visible_to(person),
        building__job__ship_date__lte=until,
    )
    ready, released = Q(state=Stage.State.READY), Q(state=Stage.State.RELEASED)
    # Counted in the database: the lists below hold the first buildings only.
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


def list_addable_people(job: Job) -> QuerySet[Person]:
    """List the active accounts that are not members of this job yet."""
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
            # The summary is about shipping, so it names what blocks this gate even
            # where an earlier stage is not released either.
            replace(
                build_building_row(gate.building),
                blocker=_describe_blocker(gate.building, gate),
            ),
        )
        for gate in found
    )


def _describe_blocker(building: Building, stage: Stage) -> str:
    """Describe what blocks a stage: the text of the evaluation, else the progress."""
    if stage.blocked_by:
        return stage.blocked_by
    if stage.state == Stage.State.READY:
        return f"signature for the {stage.get_kind_display()} stage"
    if building.undecided_findings:
        return _count_text(building.undecided_findings, "finding", "to decide")
    if building.last_reading_at is None:
        return "no readings yet"
    unsettled = building.required_checks - building.settled_checks
    if unsettled:
        return _count_text(unsettled, "check", "to measure")
    if building.open_findings:
        return _count_text(building.open_findings, "finding", "open")
    return f"{stage.get_kind_display()} stage {stage.get_state_display()}"


def _count_text(number: int, noun: str, rest: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'} {rest}"


# Subqueries, not joins: a job must not be listed once for each of its buildings.
def _has_building(**conditions: object) -> Exists:
    return Exists(Building.objects.filter(job=OuterRef("pk"), **conditions))


def _has_stage(kind: str, state: str) -> Exists:
    stages = Stage.objects.filter(building__job=OuterRef("pk"))
    if kind:
        stages = stages.filter(kind=kind)
    # A stage without a state means "work is going on there".
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
    """Match jobs whose next step is this person's, by their role there."""
    memberships = Membership.objects.of(person)

    def has_role(role: Role) -> Q:
        return Q(pk__in=memberships.filter(role=role).values("job"))

    to_sign = Exists(
        Stage.objects.filter(building__job=OuterRef("pk"), state=Stage.State.READY)
    )
    to_measure = _has_building(settled_checks__lt=F("required_checks"))
    return (
        (has_role(Role.ENGINEER) & Q(_has_building(undecided_findings__gt=0)))
        | (has_role(Role.OPERATIONS) & Q(to_sign))
        | (has_role(Role.FIELD) & Q(to_measure))
    )
