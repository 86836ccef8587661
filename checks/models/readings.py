"""Readings, the instruments they were taken with, and evaluations."""

from typing import ClassVar, Self, cast

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from core.append_only import append_only, kept_but_for
from core.models import Person
from core.packed_json import PackedJSONField
from jobs.exchange.result.document import ResultDocument
from jobs.exchange.result.supplement import merge_supplement
from jobs.models import Building, Job, PlanRevision


class Instrument(models.Model):
    """A tape, level or total station of a job, with its exchange specification."""

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
    """Query helpers for `Reading`."""

    def visible_to(self, person: Person) -> Self:
        """Limit to the buildings that a person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))

    def current(self) -> Self:
        """Limit to readings that are neither replaced nor withdrawn."""
        return self.filter(replaced_by=None, withdrawal=None)


class Reading(models.Model):
    """One reading as taken.

    A correction is another reading that names this one in `supersedes`.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    revision = models.ForeignKey(
        PlanRevision,
        models.PROTECT,
        related_name="+",
        help_text="The plan in force at the time of recording.",
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

    @property
    def withdrawn(self) -> str | None:
        """Why the reading does not count; None for one that was not withdrawn.

        Load readings with `select_related("withdrawal")` to save a query.
        """
        withdrawal = getattr(self, "withdrawal", None)
        return None if withdrawal is None else str(withdrawal.reason)


class ReadingWithdrawal(models.Model):
    """The withdrawal of a reading that does not count; the reading is kept.

    What a withdrawn correction replaced stays replaced.
    """

    reading = models.OneToOneField(Reading, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(max_length=500)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["reading"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(reason=""), name="checks_withdrawal_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"Withdrawal of {self.reading}"


KEEP_NEEDED_RESULT = """
    IF EXISTS (SELECT FROM checks_finding WHERE evaluation_id = OLD.id)
        OR EXISTS (SELECT FROM checks_decision WHERE evaluation_id = OLD.id)
        OR NOT EXISTS (
            SELECT FROM checks_evaluation newer
            WHERE newer.building_id = OLD.building_id
                AND newer.revision_id = OLD.revision_id AND newer.id > OLD.id
        )
    THEN
        RAISE EXCEPTION 'Cannot drop a result that is the latest or referred to';
    END IF;
    RETURN NEW;
"""


class Evaluation(models.Model):
    """The result computed from one plan revision and one set of readings.

    The result is kept for the latest evaluation of a revision, and for each that a
    finding or a decision refers to. Of the others digest and summary are kept: the
    record has all that is needed to compute them again.
    """

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
    result = PackedJSONField(
        null=True, help_text="padstone.result/1; none once a later one replaced it."
    )
    summary = models.JSONField(
        default=dict, help_text="Number of checks by verdict, and of findings."
    )

    class Meta:
        ordering: ClassVar = ["building", "-pk"]
        triggers: ClassVar = [
            *kept_but_for("result"),
            pgtrigger.Trigger(
                name="needed_result_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Update,
                func=KEEP_NEEDED_RESULT,
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["building"],
                condition=Q(result__isnull=False),
                name="checks_evaluation_with_result",
            )
        ]

    def __str__(self) -> str:
        return f"{self.building} at {self.made_at:%Y-%m-%d %H:%M}"

    @property
    def complete_result(self) -> ResultDocument:
        """The result with its supplement, where that has been computed.

        Load evaluations with `select_related("supplement")` to save a query.
        """
        supplement = getattr(self, "supplement", None)
        if supplement is None:
            return cast("ResultDocument", self.result)
        return merge_supplement(self.result, supplement.members)


class EvaluationSupplement(models.Model):
    """Members of a result that a worker computes: the probability of fit-up.

    There is one for each evaluation that was the latest of its building for a while;
    an empty one where the result has nothing to add.
    """

    evaluation = models.OneToOneField(
        Evaluation, models.PROTECT, related_name="supplement"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    members = models.JSONField(help_text="Members of padstone.result/1 to merge.")

    class Meta:
        ordering: ClassVar = ["evaluation"]
        triggers: ClassVar = [append_only()]

    def __str__(self) -> str:
        return f"Supplement of {self.evaluation}"
