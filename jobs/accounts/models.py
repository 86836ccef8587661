"""Invitations, how parts in jobs changed, and who opened what."""

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
    """The names people ask for."""

    def visible_to(self, person: Person) -> Self:
        """Invitations a person made; an administrator sees them all."""
        return self if person.is_administrator else self.filter(invited_by=person)

    def not_ended(self) -> Self:
        """Neither used nor revoked; some may have expired."""
        return self.filter(accepted_at=None, revoked_at=None)

    def open(self) -> Self:
        """Invitations that can still be taken up."""
        return self.not_ended().filter(expires_at__gt=now())


class Invitation(models.Model):
    """Somebody asked to make an account, by a link that serves once.

    Of the link's token the SHA-256 alone is stored.
    """

    class State(models.TextChoices):
        """Whether it can still be taken up, and if not, why."""

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
            pgtrigger.Protect(name="stays", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="as_it_was_made",
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
                name="jobs_invitation_open_once_per_address",
            ),
            models.CheckConstraint(
                condition=Q(role__in=Role.values), name="jobs_invitation_role_known"
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("invited_at")),
                name="jobs_invitation_expires_after_it_was_made",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None, accepted_by=None)
                | Q(
                    accepted_at__isnull=False,
                    accepted_by__isnull=False,
                    revoked_at=None,
                ),
                name="jobs_invitation_used_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None, revoked_by=None)
                | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="jobs_invitation_revoked_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.address}, {self.get_role_display()}"

    @property
    def state(self) -> State:
        """How it stands now."""
        if self.accepted_at:
            return self.State.USED
        if self.expires_at <= (self.revoked_at or now()):
            return self.State.EXPIRED
        return self.State.REVOKED if self.revoked_at else self.State.OPEN


class MembershipEvent(models.Model):
    """A part in a job given, changed or taken away, for the record."""

    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="+")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    role = models.CharField(
        max_length=20, choices=Role, blank=True, help_text="Empty: taken off the job."
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
        return f"{self.person}, {self.get_role_display() or 'taken off'}"


class Sight(models.Model):
    """That a person opened something of a building; once for each day."""

    class Kind(models.TextChoices):
        """What was opened; `object_id` is its key."""

        BUILDING = "building", "opened the building"
        FINDING = "finding", "opened a finding"
        RELEASE = "release", "opened a release"
        RELEASE_PDF = "release_pdf", "took a release's PDF"

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    building = models.ForeignKey(
        "jobs.Building", models.PROTECT, related_name="+", db_index=False
    )
    kind = models.CharField(max_length=20, choices=Kind)
    object_id = models.PositiveBigIntegerField()
    day = models.DateField()
    at = models.DateTimeField(auto_now_add=True, help_text="The first time that day.")

    class Meta:
        ordering: ClassVar = ["building", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person", "kind", "object_id", "day"],
                name="jobs_sight_once_a_day",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["building", "finding", "release", "release_pdf"]),
                name="jobs_sight_kind_known",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["building", "at"], name="jobs_sight_of_building")
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.get_kind_display()}"
