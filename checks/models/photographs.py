"""Photographs, stored as the digests of their files."""

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from checks.models.findings import Finding, WorkReport
from checks.models.readings import Reading
from core.append_only import append_only
from core.models import Person
from jobs.models import Building

DIGEST_PATTERN = r"^[0-9a-f]{64}$"


class PhotographQuerySet(models.QuerySet["Photograph"]):
    """Query helpers for `Photograph`."""

    def visible_to(self, person: Person) -> Self:
        """Limit to the buildings that a person may see."""
        return self.filter(building__in=Building.objects.visible_to(person))


class Photograph(models.Model):
    """A photograph: upright and without the camera's metadata.

    It may belong to a check and one of its readings, to a finding, or to a report of
    work. Both files are stored under their digests before the row is.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    client_id = models.UUIDField()
    request_digest = models.CharField(
        max_length=64,
        help_text="SHA-256 of the file and its details as sent; one for each id.",
    )
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file.")
    small_digest = models.CharField(
        max_length=64, help_text="SHA-256 of the small version for lists."
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
    work_report = models.ForeignKey(
        WorkReport, models.PROTECT, null=True, blank=True, related_name="photographs"
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
                condition=Q(digest__regex=DIGEST_PATTERN)
                & Q(small_digest__regex=DIGEST_PATTERN)
                & Q(request_digest__regex=DIGEST_PATTERN),
                name="checks_photograph_digests_are_sha256",
            ),
            models.CheckConstraint(
                condition=Q(reading=None) | ~Q(check_key=""),
                name="checks_photograph_of_a_reading_names_its_check",
            ),
            models.CheckConstraint(
                condition=Q(finding=None) | Q(work_report=None),
                name="checks_photograph_of_a_finding_or_of_work",
            ),
        ]

    def __str__(self) -> str:
        return self.caption or f"photograph {self.digest[:8]}"

    def get_absolute_url(self) -> str:
        return reverse("checks:photograph", args=[self.building_id, self.digest])

    @property
    def small_url(self) -> str:
        """The address of the small version."""
        return reverse("checks:photograph", args=[self.building_id, self.small_digest])
