"""Findings, the decisions on them, and the work that was done about them."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from checks.models.readings import Evaluation
from core.append_only import append_only
from core.models import Person, SignatureMethod
from core.vocabulary import Approval, DispositionKind
from jobs.models import Building, Membership


class FindingQuerySet(models.QuerySet["Finding"]):
    """Query helpers for `Finding`."""

    def visible_to(self, person: Person) -> Self:
        """Limit to the buildings that a person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))

    def open(self) -> Self:
        """Limit to findings that are not closed, decided or not."""
        return self.filter(closed_at=None)

    def undecided(self) -> Self:
        """Limit to open findings that need a decision of the engineer."""
        return self.open().filter(
            Q(state=Finding.State.OPEN) | Q(flagged_at__isnull=False)
        )

    def to_review_by(self, person: Person) -> Self:
        """Limit to undecided findings on jobs where a person is the engineer."""
        jobs = Membership.objects.of(person).filter(role="engineer").values("job")
        return self.undecided().filter(building__job__in=jobs)


class Finding(models.Model):
    """Something out of tolerance that needs a decision."""

    class State(models.TextChoices):
        """The steps from an open finding to a closed one."""

        OPEN = "open", "needs a decision"
        DECIDED = "decided", "decided, work not done"
        REMEASURE = "remeasure", "to be measured again"
        CARRIED_OUT = "carried_out", "work done, to be measured again"
        CLOSED = "closed", "closed"

    class ClosedReason(models.TextChoices):
        """The reasons for which a finding is closed."""

        WITHIN = "within", "later readings are within"
        VERIFIED = "verified", "work done and measured within"
        ACCEPTED = "accepted", "accepted as is by the engineer"
        SUPERSEDED = "superseded", "not on the plan any more"
        REVISED = "revised", "the plan was revised"
        CONSEQUENCE = "consequence", "follows from another finding"

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    topic = models.CharField(
        max_length=120, help_text="The result's `finding`, e.g. level:B2."
    )
    checks = models.JSONField(default=list, help_text="Keys of the checks it is about.")
    approval = models.CharField(
        max_length=20,
        choices=Approval.choices(),
        help_text="Who must approve the proposal.",
    )
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
    closed_reason = models.CharField(max_length=20, choices=ClosedReason, blank=True)
    flagged_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="When something changed that the decision was based on.",
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
                condition=Q(closed_at=None, closed_reason="") & ~Q(state="closed")
                | Q(closed_at__isnull=False, state="closed") & ~Q(closed_reason=""),
                name="checks_finding_closed_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(approval__in=Approval.values()),
                name="checks_finding_approval_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building}: {self.topic}"

    def get_absolute_url(self) -> str:
        return reverse("checks:finding", args=[self.pk])


class FindingEvent(models.Model):
    """One step in the history of a finding."""

    class Kind(models.TextChoices):
        """The kinds of step."""

        OPENED = "opened", "opened"
        CHANGED = "changed", "changed by later readings"
        DECIDED = "decided", "decided"
        ASKED_AGAIN = "asked_again", "another measurement requested"
        CARRIED_OUT = "carried_out", "work done"
        FLAGGED = "flagged", "decision to be reviewed"
        CLOSED = "closed", "closed"

    class Code(models.TextChoices):
        """Reasons that the program found, where the kind alone is not enough."""

        STILL_OUTSIDE = "still_outside", "measured again, still outside"
        NEW_PROPOSAL = "new_proposal", "another remedy is proposed"
        ACCEPTANCE_OUTDATED = "acceptance_outdated", "accepted before on other grounds"
        WITHIN_UNDECIDED = "within_undecided", "within before it was decided again"
        WITHIN_BEFORE_WORK = "within_before_work", "within before the work was done"
        NOT_MEASURED_SINCE = "not_measured_since", "within, not measured since the work"
        GROUNDS_CHANGED = "grounds_changed", "decided on other readings"
        OUTSIDE_AFTER_WORK = "outside_after_work", "work done, still outside"
        PLAN_CHANGED = "plan_changed", "the plan or a limit changed"

    finding = models.ForeignKey(Finding, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind)
    code = models.CharField(max_length=20, choices=Code, blank=True, default="")
    at = models.DateTimeField(auto_now_add=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["finding", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(
                    code__in=[
                        "",
                        "still_outside",
                        "new_proposal",
                        "acceptance_outdated",
                        "within_undecided",
                        "within_before_work",
                        "not_measured_since",
                        "grounds_changed",
                        "outside_after_work",
                        "plan_changed",
                    ]
                ),
                name="checks_finding_event_code_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.finding} {self.kind}"


class Decision(models.Model):
    """The order of the engineer, with a snapshot of what it was based on."""

    finding = models.ForeignKey(Finding, models.PROTECT, related_name="decisions")
    remedy = models.JSONField(help_text="The remedy chosen, with its arithmetic.")
    disposition = models.CharField(max_length=20, choices=DispositionKind.choices())
    note = models.TextField(blank=True)
    snapshot = models.JSONField(
        help_text="Readings, verdicts, plan and program version it was based on."
    )
    digest = models.CharField(max_length=64, help_text="SHA-256 of the snapshot.")
    evaluation = models.ForeignKey(Evaluation, models.PROTECT, related_name="+")
    engineer = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    signed_with = models.CharField(
        max_length=10,
        choices=SignatureMethod,
        blank=True,
        default="",
        help_text="Empty for decisions made without a signature.",
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
                condition=Q(disposition__in=DispositionKind.values()),
                name="checks_decision_disposition_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.finding}: {self.remedy['remedy']}"


class WorkReport(models.Model):
    """The field's report that the work of a decision was done."""

    decision = models.OneToOneField(
        Decision, models.PROTECT, related_name="work_report"
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
        return f"{self.decision} done"
