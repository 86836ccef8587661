"""Jobs, memberships, buildings, plan revisions and stages."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from core.append_only import append_only
from core.models import Person, Role
from core.vocabulary import StageKind, SteelState


class JobQuerySet(models.QuerySet["Job"]):
    """Query helpers for `Job`."""

    def visible_to(self, person: Person) -> Self:
        """Filter to jobs the person is a member of; administrators see all."""
        if person.is_administrator:
            return self
        return self.filter(pk__in=Membership.objects.of(person).values("job"))


class Job(models.Model):
    """One customer's order: a site, a ship date, one or more buildings."""

    number = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    customer = models.CharField(max_length=120)
    site = models.CharField(max_length=200, help_text="Where the foundation is")
    ship_date = models.DateField(null=True, blank=True)
    opened_at = models.DateTimeField(auto_now_add=True)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["ship_date", "number"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(number="") & ~Q(name=""), name="jobs_job_named"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    def get_absolute_url(self) -> str:
        return reverse("jobs:job", args=[self.pk])

    def roles_of(self, person: Person) -> frozenset[str]:
        """Return the person's roles on this job; empty for a non-member."""
        roles = set(
            self.memberships.filter(person=person).values_list("role", flat=True)
        )
        if person.is_administrator:
            roles.add(Role.ADMINISTRATOR)
        return frozenset(roles)


class MembershipQuerySet(models.QuerySet["Membership"]):
    """Query helpers for `Membership`."""

    def of(self, person: Person) -> Self:
        """Filter to the memberships of one person."""
        return self.filter(person=person)


class Membership(models.Model):
    """One person's role on one job."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="memberships")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    role = models.CharField(max_length=20, choices=Role)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["job", "role", "person"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job", "person"], name="jobs_membership_once_per_job"
            ),
            models.CheckConstraint(
                condition=Q(role__in=Role.values), name="jobs_membership_role_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_role_display()}"


class MembershipEvent(models.Model):
    """A role on a job assigned, changed or removed; part of the record."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="+")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    role = models.CharField(
        max_length=20,
        choices=Role,
        blank=True,
        help_text="Blank: removed from the job.",
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["job", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(role__in=["", *Role.values]),
                name="jobs_membership_event_role_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_role_display() or 'removed'}"


class BuildingQuerySet(models.QuerySet["Building"]):
    """Query helpers for `Building`."""

    def visible_to(self, person: Person) -> Self:
        """Filter to buildings on jobs the person may see."""
        if person.is_administrator:
            return self
        return self.filter(job__in=Membership.objects.of(person).values("job"))


class Building(models.Model):
    """One building of a job, with the progress figures the job list shows.

    `jobs.services.set_progress` writes the progress fields, in the transaction of the
    evaluation they come from. Every change of `steel` has a `SteelStateEvent`.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="buildings")
    name = models.CharField(max_length=120)
    created_at = models.DateTimeField(auto_now_add=True)
    steel = models.CharField(
        max_length=20,
        choices=SteelState.choices(),
        default=SteelState.FABRICATED.value,
        help_text="How far the steel is: the cheapest remedy depends on it.",
    )
    required_checks = models.PositiveIntegerField(default=0)
    settled_checks = models.PositiveIntegerField(default=0)
    open_findings = models.PositiveIntegerField(default=0)
    undecided_findings = models.PositiveIntegerField(default=0)
    last_reading_at = models.DateTimeField(null=True, blank=True)
    evaluation_due_since = models.DateTimeField(
        null=True,
        blank=True,
        help_text="Readings are stored that are not evaluated yet.",
    )
    change_number = models.PositiveBigIntegerField(
        default=0, help_text="Counts the changes that an evaluation has to see."
    )
    evaluated_change = models.PositiveBigIntegerField(
        default=0, help_text="The last change that an evaluation has seen."
    )

    objects = BuildingQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["job", "name"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job", "name"], name="jobs_building_name_once_per_job"
            ),
            models.CheckConstraint(
                condition=Q(settled_checks__lte=models.F("required_checks")),
                name="jobs_building_settled_at_most_required",
            ),
            models.CheckConstraint(
                condition=Q(undecided_findings__lte=models.F("open_findings")),
                name="jobs_building_undecided_at_most_open",
            ),
            models.CheckConstraint(
                condition=Q(steel__in=SteelState.values()),
                name="jobs_building_steel_state_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        # The page belongs to a higher app: the root URLs give it a name of its own, so
        # that this app need not know which.
        return reverse("building", args=[self.pk])

    def roles_of(self, person: Person) -> frozenset[str]:
        """Return the person's roles on this building's job."""
        return self.job.roles_of(person)

    def current_revision(self) -> "PlanRevision":
        """Return the plan in force: the revision with the highest number."""
        return self.revisions.latest("number")


class SteelStateEvent(models.Model):
    """A state of a building's steel, with who recorded it; part of the record."""

    class Cause(models.TextChoices):
        """How the state came to be recorded."""

        IMPORTED = "imported", "imported with the building"
        SET = "set", "set by hand"
        SHIP_RELEASE = "ship_release", "ship release signed"

    building = models.ForeignKey(
        Building, models.PROTECT, related_name="steel_state_events"
    )
    state = models.CharField(max_length=20, choices=SteelState.choices())
    cause = models.CharField(max_length=20, choices=Cause)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(state__in=SteelState.values()),
                name="jobs_steel_event_state_known",
            ),
            models.CheckConstraint(
                condition=Q(cause__in=["imported", "set", "ship_release"]),
                name="jobs_steel_event_cause_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building}: steel {self.get_state_display()}"


class PlanRevision(models.Model):
    """One revision of a building's anchor plan, stored as an exchange document.

    Append-only: readings, decisions and releases refer to it.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    document = models.JSONField(
        help_text="padstone.building/1 as received, without readings."
    )
    digest = models.CharField(
        max_length=64, help_text="SHA-256 of the canonical document."
    )
    note = models.CharField(max_length=200, blank=True)
    drawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    drawn_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["building", "-number"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "number"], name="jobs_revision_number_once"
            ),
            models.CheckConstraint(
                condition=Q(number__gte=1), name="jobs_revision_counts_from_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building} revision {self.number}"


class Stage(models.Model):
    """State of one of a building's three stages, and what blocks it."""

    class Kind(models.TextChoices):
        """The three stages, in order."""

        FOUNDATION = StageKind.FOUNDATION.value, StageKind.FOUNDATION.label
        VERIFICATION = StageKind.VERIFICATION.value, StageKind.VERIFICATION.label
        ERECTION = StageKind.ERECTION.value, StageKind.ERECTION.label

    class State(models.TextChoices):
        """From not started to released."""

        WAITING = "waiting", "not started"
        UNDER_WAY = "under_way", "in progress"
        HELD = "held", "blocked"
        READY = "ready", "ready to release"
        RELEASED = "released", "released"

    building = models.ForeignKey(Building, models.CASCADE, related_name="stages")
    kind = models.CharField(max_length=20, choices=Kind)
    state = models.CharField(max_length=20, choices=State, default=State.WAITING)
    blocked_by = models.CharField(max_length=200, blank=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "kind"], name="jobs_stage_once_per_building"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["foundation", "verification", "erection"]),
                name="jobs_stage_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(
                    state__in=["waiting", "under_way", "held", "ready", "released"]
                ),
                name="jobs_stage_state_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building}: {self.kind} {self.state}"
