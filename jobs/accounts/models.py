"""Invitations and the view log."""

import uuid
from typing import ClassVar, Self

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils.timezone import now

from core.append_only import append_only
from core.models import Person, Role


class InvitationQuerySet(models.QuerySet["Invitation"]):
    """Query helpers for `Invitation`."""

    def visible_to(self, person: Person) -> Self:
        """Filter to invitations the person made; administrators see all."""
        return self if person.is_administrator else self.filter(invited_by=person)

    def not_ended(self) -> Self:
        """Filter to those neither used nor revoked; some may have expired."""
        return self.filter(accepted_at=None, revoked_at=None)

    def open(self) -> Self:
        """Filter to invitations that can still be accepted."""
        return self.not_ended().filter(expires_at__gt=now())


class Invitation(models.Model):
    """An invitation to create an account, by a link that works once.

    Only the SHA-256 of the link's token is stored.
    """

    class State(models.TextChoices):
        """Open, or why the invitation can no longer be accepted."""

        OPEN = "open", "open"
        USED = "used", "used"
        REVOKED = "revoked", "revoked"
        EXPIRED = "expired", "expired"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    address = models.EmailField("e-mail address")
    role = models.CharField(max_length=20, choices=Role)
    jobs = models.ManyToManyField("jobs.Job", related_name="+", blank=True)
    token_hash = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    invited_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    accepted_by = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-invited_at", "pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="no_delete", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="fixed_fields",
                fields=["address", "role", "token_hash", "invited_by", "expires_at"],
            ),
            pgtrigger.Protect(
                name="ends_once",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__accepted_at__isnull=False)
                | pgtrigger.Q(old__revoked_at__isnull=False),
            ),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                Lower("address"),
                condition=Q(accepted_at=None, revoked_at=None),
                name="accounts_invitation_open_once_per_address",
            ),
            models.CheckConstraint(
                condition=Q(role__in=Role.values), name="accounts_invitation_role_known"
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("invited_at")),
                name="accounts_invitation_expires_after_creation",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None, accepted_by=None)
                | Q(
                    accepted_at__isnull=False,
                    accepted_by__isnull=False,
                    revoked_at=None,
                ),
                name="accounts_invitation_accepted_by_person",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None, revoked_by=None)
                | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="accounts_invitation_revoked_by_person",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.address}, {self.get_role_display()}"

    @property
    def state(self) -> State:
        """The state at this moment."""
        if self.accepted_at:
            return self.State.USED
        if self.expires_at <= (self.revoked_at or now()):
            return self.State.EXPIRED
        return self.State.REVOKED if self.revoked_at else self.State.OPEN


class ViewLogEntry(models.Model):
    """A page of a building that a person opened, logged once a day."""

    class Kind(models.TextChoices):
        """Kind of page; `object_id` is the key of the building, finding or release."""

        BUILDING = "building", "opened the building"
        FINDING = "finding", "opened a finding"
        RELEASE = "release", "opened a release"
        RELEASE_PDF = "release_pdf", "downloaded a release's PDF"

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    building = models.ForeignKey(
        "jobs.Building", models.PROTECT, related_name="+", db_index=False
    )
    kind = models.CharField(max_length=20, choices=Kind)
    object_id = models.PositiveBigIntegerField()
    day = models.DateField()
    at = models.DateTimeField(auto_now_add=True, help_text="First view that day.")

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person", "kind", "object_id", "day"],
                name="accounts_view_once_a_day",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["building", "finding", "release", "release_pdf"]),
                name="accounts_view_kind_known",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["building", "at"], name="accounts_view_by_building")
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.get_kind_display()}"
