"""The people of the house, the devices they sign in on, what happened to accounts."""

from typing import Any, ClassVar, Self

import pgtrigger
from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.contrib.sessions.models import Session
from django.db import models
from django.utils.timezone import now

from core.append_only import append_only


class Role(models.TextChoices):
    """What a person does; on an account the default, on a membership what holds."""

    OPERATIONS = "operations", "operations manager"
    FIELD = "field", "field lead"
    ENGINEER = "engineer", "engineer"
    ADMINISTRATOR = "administrator", "administrator"


class SignatureMethod(models.TextChoices):
    """What somebody gave as their signature."""

    PASSWORD = "password", "password"
    PASSKEY = "passkey", "passkey"


class PersonManager(UserManager["Person"]):
    """Makes accounts; the first one, made at the command line, runs the house."""

    def create_superuser(self, *args: Any, **fields: Any) -> "Person":
        """Make an account that may invite everybody else."""
        return super().create_superuser(*args, **{"role": Role.ADMINISTRATOR, **fields})


class Person(AbstractUser):
    """An account. What a person sees and may do on a job hangs on the membership."""

    role = models.CharField(max_length=20, choices=Role, default=Role.FIELD)

    objects: ClassVar[PersonManager] = PersonManager()  # type: ignore[assignment]

    class Meta(AbstractUser.Meta):
        ordering: ClassVar = ["username"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="core_person_role_known"
            ),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def is_administrator(self) -> bool:
        """Whether this person sees every job and manages accounts."""
        return self.role == Role.ADMINISTRATOR


class SessionHash(models.Func):
    """SHA-256 of a session's key, computed by the database."""

    template = "encode(sha256(%(expressions)s::bytea), 'hex')"
    output_field = models.CharField(max_length=64)


class DeviceQuerySet(models.QuerySet["Device"]):
    """The names people ask for."""

    def of(self, person: Person) -> Self:
        """Every device one person ever signed in on."""
        return self.filter(person=person)

    def signed_in(self) -> Self:
        """Devices whose session is alive."""
        alive = Session.objects.filter(expire_date__gt=now())
        hashes = alive.annotate(hash=SessionHash("session_key")).values("hash")
        return self.filter(ended_at=None, session_hash__in=hashes)


class Device(models.Model):
    """One sign-in: on what kind of device, from when to when.

    It stays when the session is gone. Where from is not kept here.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    session_hash = models.CharField(
        max_length=64, unique=True, help_text="SHA-256 of the session's key."
    )
    family = models.CharField(
        max_length=60, help_text="Browser and system, roughly; nothing finer is kept."
    )
    first_seen_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = DeviceQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-last_seen_at", "-pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="stays", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="as_it_was", fields=["person", "family", "first_seen_at"]
            ),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(last_seen_at__gte=models.F("first_seen_at")),
                name="core_device_seen_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.family


class PasskeyQuerySet(models.QuerySet["Passkey"]):
    """The names people ask for."""

    def of(self, person: Person) -> Self:
        """Give those one person can sign with."""
        return self.filter(person=person, removed_at=None)


class Passkey(models.Model):
    """A key pair on a person's device: the public half, and how far it has counted.

    It stays when it is removed, and is refused from then on.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    name = models.CharField(max_length=60)
    credential_id = models.BinaryField(max_length=1023, unique=True)
    public_key = models.BinaryField(help_text="As COSE writes it (RFC 9052).")
    sign_count = models.PositiveBigIntegerField(
        help_text="How often the device says it signed; 0 where it does not count."
    )
    transports = models.JSONField(
        default=list, blank=True, help_text="How the browser says it is reached."
    )
    rp_id = models.CharField(
        max_length=253, help_text="The host it was made for; it answers to no other."
    )
    added_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = PasskeyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["person", "pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="stays", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="as_it_was",
                exclude=["sign_count", "last_used_at", "removed_at"],
            ),
            pgtrigger.Protect(
                name="no_way_back",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__removed_at__isnull=False)
                | pgtrigger.Q(new__sign_count__lt=pgtrigger.F("old__sign_count")),
            ),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person", "name"],
                condition=models.Q(removed_at=None),
                name="core_passkey_name_once_per_person",
            ),
            models.CheckConstraint(
                condition=models.Q(sign_count__lt=2**32),
                name="core_passkey_count_of_four_bytes",
            ),
            models.CheckConstraint(
                condition=~models.Q(name="") & ~models.Q(rp_id=""),
                name="core_passkey_named",
            ),
            models.CheckConstraint(
                condition=(
                    models.Q(last_used_at=None)
                    | models.Q(last_used_at__gte=models.F("added_at"))
                )
                & (
                    models.Q(removed_at=None)
                    | models.Q(removed_at__gte=models.F("added_at"))
                ),
                name="core_passkey_times_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class AccountEvent(models.Model):
    """What happened to an account, for the record."""

    class Kind(models.TextChoices):
        """What happened."""

        JOINED = "joined", "took up an invitation"
        ROLE = "role", "given another role"
        CLOSED = "closed", "account closed"
        REOPENED = "reopened", "account opened again"
        SIGNED_OUT = "signed_out", "signed out everywhere, tokens ended"
        PASSWORD = "password", "sent a link for a new password"
        FORGOTTEN = "forgotten", "asked for: a link for a new password"
        PASSWORD_SET = "password_set", "set a new password by a link"
        PASSKEY_ADDED = "passkey_added", "added a passkey"
        PASSKEY_REMOVED = "passkey_removed", "removed a passkey"

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    kind = models.CharField(max_length=20, choices=Kind)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        help_text="Nobody where whoever asked was not signed in.",
    )
    at = models.DateTimeField(auto_now_add=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["person", "pk"]
        triggers: ClassVar = [append_only()]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "joined",
                        "role",
                        "closed",
                        "reopened",
                        "signed_out",
                        "password",
                        "forgotten",
                        "password_set",
                        "passkey_added",
                        "passkey_removed",
                    ]
                ),
                name="core_account_event_kind_known",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="forgotten", by=None)
                | (~models.Q(kind="forgotten") & models.Q(by__isnull=False)),
                name="core_account_event_by_somebody_signed_in",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.get_kind_display()}"


class Tally(models.Model):
    """How often something was asked for within a window of time (`core.rate_limits`)."""

    key = models.CharField(
        max_length=64, primary_key=True, help_text="Keyed hash of what and when."
    )
    number = models.PositiveIntegerField()
    ends_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering: ClassVar = ["ends_at", "key"]
        verbose_name_plural = "tallies"

    def __str__(self) -> str:
        return f"{self.number} until {self.ends_at:%Y-%m-%d %H:%M}"
