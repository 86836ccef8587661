"""Concrete data recorded after the plan was drawn."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from core.append_only import append_only
from core.models import Person
from jobs.models import Building


class ConcreteEntryQuerySet(models.QuerySet["ConcreteEntry"]):
    """Query helpers for `ConcreteEntry`."""

    def visible_to(self, person: Person) -> Self:
        """Limit to the buildings that a person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))

    def current(self) -> Self:
        """Limit to entries that no later entry replaces."""
        return self.filter(replaced_by=None)


class ConcreteEntry(models.Model):
    """One temperature, test or other datum of a building's concrete, as typed.

    A correction is another entry that names it in `supersedes`. Field-cured samples
    are readings.
    """

    class Kind(models.TextChoices):
        """Kinds of entry, as in `jobs.exchange.input.concrete_entries`."""

        PLACING = "placing", "day of placing"
        TEMPERATURE = "temperature", "temperature"
        STANDARD_CURED = "standard_cured", "standard-cured test"
        MIXTURE = "mixture", "strength curve of the mixture"
        EXPECTED = "expected", "expected temperatures"

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    client_id = models.CharField(max_length=64)
    kind = models.CharField(max_length=20, choices=Kind)
    entry = models.JSONField(
        help_text="As typed, with the member names of the document."
    )
    digest = models.CharField(max_length=64, help_text="SHA-256 of the entry.")
    at = models.DateTimeField(null=True, blank=True, help_text="Time of a temperature.")
    on = models.DateField(null=True, blank=True, help_text="Day of every other kind.")
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = ConcreteEntryQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["building", "client_id"], name="checks_concrete_sent_once"
            ),
            models.CheckConstraint(
                condition=~Q(client_id=""), name="checks_concrete_says_its_id"
            ),
            models.CheckConstraint(
                condition=Q(
                    kind__in=[
                        "placing",
                        "temperature",
                        "standard_cured",
                        "mixture",
                        "expected",
                    ]
                ),
                name="checks_concrete_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(kind="temperature", at__isnull=False, on=None)
                | ~Q(kind="temperature") & Q(at=None, on__isnull=False),
                name="checks_concrete_time_of_a_temperature_day_of_the_rest",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("pk")),
                name="checks_concrete_replaces_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.at or self.on}"
