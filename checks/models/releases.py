"""Signed releases."""

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from core.append_only import append_only
from core.vocabulary import ReleaseKind
from jobs.models import Building, PlanRevision


class Release(models.Model):
    """A signed release: the record as it stood, and its SHA-256."""

    Kind: ClassVar = ReleaseKind

    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    revision = models.ForeignKey(PlanRevision, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20, choices=ReleaseKind.choices())
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
                condition=Q(kind__in=ReleaseKind.values()),
                name="checks_release_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.building} {self.get_kind_display()}"

    def get_absolute_url(self) -> str:
        return reverse("checks:release", args=[self.pk])
