"""Runs that evaluate many buildings again, and the buildings of each run."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from core.models import Person
from jobs.models import Building


class ReevaluationQuerySet(models.QuerySet["Reevaluation"]):
    """Query helpers for `Reevaluation`."""

    def visible_to(self, person: Person) -> Self:
        """Limit to the runs a person started; administrators see all."""
        return self if person.is_administrator else self.filter(started_by=person)

    def unfinished(self) -> Self:
        """Limit to the runs that still have buildings to evaluate."""
        return self.filter(finished_at=None)


class Reevaluation(models.Model):
    """One run over many buildings after a change that may alter their verdicts.

    The progress is not stored: it is counted from the buildings of the run.
    """

    class Reason(models.TextChoices):
        """Changes that call for a run."""

        PROGRAM = "program", "new program version"
        BASIS = "basis", "changed tolerance basis"
        SETTINGS = "settings", "changed settings"

    reason = models.CharField(max_length=20, choices=Reason)
    note = models.CharField(max_length=200, blank=True)
    made_with = models.CharField(max_length=40, help_text="Program and version.")
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField(auto_now_add=True)
    queued_at = models.DateTimeField(
        help_text="When the unfinished buildings were last handed to the workers."
    )
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = ReevaluationQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(reason__in=["program", "basis", "settings"]),
                name="checks_reevaluation_reason_known",
            ),
        ]

    def __str__(self) -> str:
        return f"Re-evaluation {self.pk}"

    def get_absolute_url(self) -> str:
        return reverse("checks:reevaluation", args=[self.pk])


class ReevaluationTask(models.Model):
    """One building of a run; a worker locks the row while it evaluates."""

    class Outcome(models.TextChoices):
        """Outcomes of an evaluation; blank while the building waits."""

        CHANGED = "changed", "new result"
        UNCHANGED = "unchanged", "same result"
        FAILED = "failed", "failed"

    reevaluation = models.ForeignKey(Reevaluation, models.CASCADE, related_name="tasks")
    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    attempts = models.PositiveSmallIntegerField(default=0)
    outcome = models.CharField(max_length=20, choices=Outcome, blank=True)
    failure = models.CharField(max_length=200, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["reevaluation", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["reevaluation", "building"],
                name="checks_reevaluation_building_once",
            ),
            models.CheckConstraint(
                condition=Q(outcome="", finished_at=None)
                | Q(
                    outcome__in=["changed", "unchanged", "failed"],
                    finished_at__isnull=False,
                ),
                name="checks_reevaluation_outcome_when_finished",
            ),
            models.CheckConstraint(
                condition=Q(failure="") | Q(outcome="failed"),
                name="checks_reevaluation_failure_of_a_failed_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reevaluation}: {self.building}"
