"""The record: readings, evaluations, findings, decisions, releases."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from core.append_only import append_only
from core.models import Person
from jobs.models import Building, Job, Membership, PlanRevision

DIGEST = r"^[0-9a-f]{64}$"


class Instrument(models.Model):
    """A tape or level a job's crews use, in the exchange document's words."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="+")
    name = models.CharField(max_length=40)
    specification = models.JSONField(
        help_text="The exchange document's `instruments` entry of this name."
    )
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["job", "name"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job", "name"], name="checks_instrument_name_once_per_job"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ReadingQuerySet(models.QuerySet["Reading"]):
    """The names people ask for."""

    def visible_to(self, person: Person) -> Self:
        """Readings of buildings this person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))

    def standing(self) -> Self:
        """Readings that no later reading replaces."""
        return self.filter(replaced_by=None)


class Reading(models.Model):
    """One reading as it was taken. A correction is another reading that names it."""

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    revision = models.ForeignKey(
        PlanRevision,
        models.PROTECT,
        related_name="+",
        help_text="The plan in force when it was recorded.",
    )
    client_id = models.CharField(max_length=64)
    check_key = models.CharField(max_length=120)
    entry = models.JSONField(help_text="The exchange document's entry, as typed.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the entry.")
    entered = models.CharField(max_length=60, help_text="The value as typed.")
    value = models.DecimalField(
        max_digits=18, decimal_places=6, help_text="In mm; in MPa for a strength."
    )
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="+"
    )
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    crew = models.CharField(max_length=60, blank=True)
    taken_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "client_id"], name="checks_reading_sent_once"
            ),
            models.CheckConstraint(
                condition=~Q(client_id="") & ~Q(check_key="") & ~Q(entered=""),
                name="checks_reading_says_what_it_is",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("pk")),
                name="checks_reading_replaces_another",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["building", "check_key"], name="checks_reading_by_check"
            )
        ]

    def __str__(self) -> str:
        return f"{self.check_key} {self.entered}"


class Evaluation(models.Model):
    """What was computed from one plan revision and one set of readings."""

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    revision = models.ForeignKey(PlanRevision, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    made_with = models.CharField(max_length=40, help_text="Program and version.")
    input_digest = models.CharField(
        max_length=64, help_text="SHA-256 of the exchange document evaluated."
    )
    last_reading = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="+"
    )
    result = models.JSONField(help_text="padstone.result/1")

    class Meta:
        ordering: ClassVar = ["building", "-pk"]
        triggers: ClassVar = [append_only()]

    def __str__(self) -> str:
        return f"{self.building} at {self.made_at:%Y-%m-%d %H:%M}"


class FindingQuerySet(models.QuerySet["Finding"]):
    """The names people ask for."""

    def visible_to(self, person: Person) -> Self:
        """Findings of buildings this person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))

    def open(self) -> Self:
        """Findings not closed, decided or not."""
        return self.filter(closed_at=None)

    def undecided(self) -> Self:
        """Open findings that wait for the engineer."""
        return self.open().filter(
            Q(state=Finding.State.OPEN) | Q(flagged_at__isnull=False)
        )

    def to_review_by(self, person: Person) -> Self:
        """Undecided findings on jobs where this person is the engineer."""
        jobs = Membership.objects.of(person).filter(role="engineer").values("job")
        return self.undecided().filter(building__job__in=jobs)


class Finding(models.Model):
    """Something out of tolerance that needs a decision."""

    class State(models.TextChoices):
        """From opened to closed."""

        OPEN = "open", "waits for a decision"
        DECIDED = "decided", "decided, to be carried out"
        REMEASURE = "remeasure", "to be measured again"
        CARRIED_OUT = "carried_out", "carried out, to be measured again"
        CLOSED = "closed", "closed"

    class Closing(models.TextChoices):
        """Why a finding was closed."""

        WITHIN = "within", "later readings are within"
        VERIFIED = "verified", "the remedy was carried out and measured within"
        ACCEPTED = "accepted", "accepted as is by the engineer"
        SUPERSEDED = "superseded", "the plan revision no longer has it"

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    topic = models.CharField(
        max_length=120, help_text="The result's `finding`, e.g. level:B2."
    )
    checks = models.JSONField(default=list, help_text="Keys of the checks it is about.")
    severity = models.CharField(max_length=20)
    likely_cause = models.JSONField(null=True, blank=True)
    remedies = models.JSONField(
        default=list, help_text="As computed last: the proposal first, then the rest."
    )
    evaluation = models.ForeignKey(
        Evaluation, models.PROTECT, related_name="+", help_text="The latest."
    )
    state = models.CharField(max_length=20, choices=State, default=State.OPEN)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closing = models.CharField(max_length=20, choices=Closing, blank=True)
    flagged_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="Since when what the decision was based on has changed.",
    )

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["building", "opened_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "topic"],
                condition=Q(closed_at=None),
                name="checks_finding_open_once_per_topic",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, closing="") & ~Q(state="closed")
                | Q(closed_at__isnull=False, state="closed") & ~Q(closing=""),
                name="checks_finding_closed_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building}: {self.topic}"

    def get_absolute_url(self) -> str:
        return reverse("checks:finding", args=[self.pk])


class FindingEvent(models.Model):
    """One step in a finding's history, for the record."""

    class Kind(models.TextChoices):
        """What happened."""

        OPENED = "opened", "opened"
        CHANGED = "changed", "later readings changed it"
        DECIDED = "decided", "decided"
        ASKED_AGAIN = "asked_again", "asked for another measurement"
        CARRIED_OUT = "carried_out", "carried out"
        FLAGGED = "flagged", "decision to be looked at again"
        CLOSED = "closed", "closed"

    STOOD: ClassVar = "Measured again, and still outside."
    PROPOSED_NOW: ClassVar = "Proposed now: "

    finding = models.ForeignKey(Finding, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind)
    at = models.DateTimeField(auto_now_add=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["finding", "pk"]
        triggers: ClassVar = [append_only()]

    def __str__(self) -> str:
        return f"{self.finding} {self.kind}"


class Disposition(models.TextChoices):
    """What is done with a nonconformity, in the words of ISO 9000:2015 3.12."""

    USE_AS_IS = "use_as_is", "use as is"
    REWORK = "rework", "rework"
    REPAIR = "repair", "repair"
    REJECT = "reject", "reject"


class Decision(models.Model):
    """What the engineer ordered, frozen with what it was based on."""

    finding = models.ForeignKey(Finding, models.PROTECT, related_name="decisions")
    remedy = models.JSONField(help_text="The remedy chosen, with its arithmetic.")
    disposition = models.CharField(max_length=20, choices=Disposition)
    note = models.TextField(blank=True)
    basis = models.JSONField(
        help_text="Readings, verdicts, plan and program version it was based on."
    )
    digest = models.CharField(max_length=64, help_text="SHA-256 of the basis.")
    evaluation = models.ForeignKey(Evaluation, models.PROTECT, related_name="+")
    engineer = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["finding", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(disposition__in=Disposition.values),
                name="checks_decision_disposition_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.finding}: {self.remedy['remedy']}"


class CarriedOut(models.Model):
    """The field's word that a decision was carried out."""

    decision = models.OneToOneField(
        Decision, models.PROTECT, related_name="carried_out"
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    note = models.TextField(blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["pk"]
        triggers: ClassVar = [append_only()]

    def __str__(self) -> str:
        return f"{self.decision} carried out"


class PhotographQuerySet(models.QuerySet["Photograph"]):
    """The names people ask for."""

    def visible_to(self, person: Person) -> Self:
        """Photographs of buildings this person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))


class Photograph(models.Model):
    """A photograph as it is kept: upright, with nothing the camera wrote beside it.

    It may be of a check, and then of one of its readings; of a finding; or of a
    decision's carrying-out. The files lie under their digests, stored before the row.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    client_id = models.UUIDField()
    sent = models.CharField(
        max_length=64,
        help_text="SHA-256 of all that was handed in: the same id has no other.",
    )
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file.")
    small_digest = models.CharField(
        max_length=64, help_text="SHA-256 of the small one for lists."
    )
    width = models.PositiveIntegerField(help_text="Pixels, upright.")
    height = models.PositiveIntegerField(help_text="Pixels, upright.")
    size = models.PositiveIntegerField(help_text="Bytes.")
    caption = models.CharField(max_length=200, blank=True)
    check_key = models.CharField(max_length=120, blank=True)
    reading = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    finding = models.ForeignKey(
        Finding, models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    carried_out = models.ForeignKey(
        CarriedOut, models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    taken_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = PhotographQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "client_id"], name="checks_photograph_sent_once"
            ),
            models.CheckConstraint(
                condition=Q(width__gt=0, height__gt=0, size__gt=0),
                name="checks_photograph_shows_something",
            ),
            models.CheckConstraint(
                condition=Q(digest__regex=DIGEST)
                & Q(small_digest__regex=DIGEST)
                & Q(sent__regex=DIGEST),
                name="checks_photograph_digests_are_sha256",
            ),
            models.CheckConstraint(
                condition=Q(reading=None) | ~Q(check_key=""),
                name="checks_photograph_of_a_reading_names_its_check",
            ),
            models.CheckConstraint(
                condition=Q(finding=None) | Q(carried_out=None),
                name="checks_photograph_of_a_finding_or_of_work",
            ),
        ]

    def __str__(self) -> str:
        return self.caption or f"photograph {self.digest[:8]}"

    def get_absolute_url(self) -> str:
        return reverse("checks:photograph", args=[self.building_id, self.digest])

    @property
    def small_url(self) -> str:
        """Where the small one is."""
        return reverse("checks:photograph", args=[self.building_id, self.small_digest])


class Release(models.Model):
    """A hold point signed: the record as it stood, and its digest."""

    class Kind(models.TextChoices):
        """The gates, in their order."""

        POUR = "pour", "pour release"
        SHIP = "ship", "ship release"
        ERECT = "erect", "erect release"
        COMPLETION = "completion", "completion"

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    revision = models.ForeignKey(PlanRevision, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20, choices=Kind)
    record = models.JSONField(help_text="Everything the release was based on.")
    digest = models.CharField(
        max_length=64, unique=True, help_text="SHA-256 of the canonical record."
    )
    note = models.TextField(blank=True)
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    signed_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "revision", "kind"],
                name="checks_release_signed_once_per_plan",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["pour", "ship", "erect", "completion"]),
                name="checks_release_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building} {self.get_kind_display()}"

    def get_absolute_url(self) -> str:
        return reverse("checks:release", args=[self.pk])
