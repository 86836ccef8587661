"""What is out of tolerance, what was ordered about it, and what was done."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from checks.models.readings import Evaluation
from core.append_only import append_only
from core.models import Person, SignatureMethod
from jobs.models import Building, Membership


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
    signed_with = models.CharField(
        max_length=10,
        choices=SignatureMethod,
        blank=True,
        default="",
        help_text="Empty where it was not asked for when it was made.",
    )
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["finding", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(signed_with__in=["", *SignatureMethod.values]),
                name="checks_decision_signed_with_known",
            ),
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
