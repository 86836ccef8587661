"""Accounts, their devices and passkeys, their events, and rate counters."""

from typing import Any, ClassVar, Self

import pgtrigger
from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.contrib.sessions.models import Session
from django.db import models
from django.utils.timezone import now

from core.append_only import append_only


class Role(models.TextChoices):
    """Roles: the default on an account, the one in force on a job's membership."""

    OPERATIONS = "operations", "operations manager"
    FIELD = "field", "field lead"
    ENGINEER = "engineer", "engineer"
    ADMINISTRATOR = "administrator", "administrator"


class SignatureMethod(models.TextChoices):
    """The ways to sign."""

    PASSWORD = "password", "password"
    PASSKEY = "passkey", "passkey"


class PersonManager(UserManager["Person"]):
    """Creates accounts; `createsuperuser` creates an administrator."""

    def create_superuser(self, *args: Any, **fields: Any) -> "Person":
        """Create an administrator, who can invite everybody else."""
        return super().create_superuser(*args, **{"role": Role.ADMINISTRATOR, **fields})


class Person(AbstractUser):
    """An account with its display preferences.

    The membership of a job decides what a person sees and may do there.
    """

    class Units(models.TextChoices):
        """Notations of lengths; blank means the unit of each building's plan."""

        IMPERIAL = "imperial", "feet, inches and fractions"
        DECIMAL = "decimal", "decimal feet"
        METRIC = "metric", "metric"

    class Theme(models.TextChoices):
        """Colours of the pages; blank means those of the device."""

        AUTO = "auto", "as device"
        LIGHT = "light", "light"
        DARK = "dark", "dark"

    role = models.CharField(max_length=20, choices=Role, default=Role.FIELD)
    units = models.CharField(max_length=10, choices=Units, blank=True, default="")
    theme = models.CharField(max_length=10, choices=Theme, blank=True, default="")
    time_zone = models.CharField(
        max_length=64,
        blank=True,
        default="",
        help_text="Name in the IANA database; blank means that of the browser.",
    )

    objects: ClassVar[PersonManager] = PersonManager()

    class Meta(AbstractUser.Meta):
        ordering: ClassVar = ["username"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="core_person_role_known"
            ),
            models.CheckConstraint(
                condition=models.Q(units__in=["", "imperial", "decimal", "metric"])
                & models.Q(theme__in=["", "auto", "light", "dark"]),
                name="core_person_preferences_known",
            ),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def is_administrator(self) -> bool:
        """Return whether this person sees every job and manages accounts."""
        return self.role == Role.ADMINISTRATOR


class SessionHash(models.Func):
    """SHA-256 of a session key, computed by the database."""

    template = "encode(sha256(%(expressions)s::bytea), 'hex')"
    output_field = models.CharField(max_length=64)


class DeviceQuerySet(models.QuerySet["Device"]):
    """Query helpers."""

    def of(self, person: Person) -> Self:
        """Limit to the devices of one person."""
        return self.filter(person=person)

    def signed_in(self) -> Self:
        """Limit to devices with a live session."""
        alive = Session.objects.filter(expire_date__gt=now())
        hashes = alive.annotate(hash=SessionHash("session_key")).values("hash")
        return self.filter(ended_at=None, session_hash__in=hashes)


class Device(models.Model):
    """One sign-in: the kind of device, and from when to when.

    The row stays when the session ends. It stores no network address.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    session_hash = models.CharField(
        max_length=64, unique=True, help_text="SHA-256 of the session key."
    )
    family = models.CharField(
        max_length=60, help_text="Browser and system; nothing finer is stored."
    )
    first_seen_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = DeviceQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-last_seen_at", "-pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="no_delete", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="immutable_fields", fields=["person", "family", "first_seen_at"]
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
    """Query helpers."""

    def of(self, person: Person) -> Self:
        """Limit to the passkeys that one person can sign with."""
        return self.filter(person=person, removed_at=None)


class Passkey(models.Model):
    """The public key of a passkey on a person's device, with its sign counter.

    A removed passkey stays in the table and is refused.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    name = models.CharField(max_length=60)
    credential_id = models.BinaryField(max_length=1023, unique=True)
    public_key = models.BinaryField(help_text="COSE key (RFC 9052).")
    sign_count = models.PositiveBigIntegerField(
        help_text="Sign counter of the device; 0 where it does not count."
    )
    transports = models.JSONField(
        default=list, blank=True, help_text="Transports that the browser reported."
    )
    rp_id = models.CharField(max_length=253, help_text="The host that it is bound to.")
    added_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = PasskeyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["person", "pk"]
        triggers: ClassVar = [
            pgtrigger.Protect(name="no_delete", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="immutable_fields",
                exclude=["sign_count", "last_used_at", "removed_at"],
            ),
            pgtrigger.Protect(
                name="no_undo",
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
    """One event of an account, for the record."""

    class Kind(models.TextChoices):
        """The kinds of event."""

        JOINED = "joined", "accepted an invitation"
        ROLE = "role", "role changed"
        CLOSED = "closed", "account closed"
        REOPENED = "reopened", "account reopened"
        SIGNED_OUT = "signed_out", "signed out everywhere, tokens ended"
        PASSWORD = "password", "password link sent"
        FORGOTTEN = "forgotten", "password link requested"
        PASSWORD_SET = "password_set", "password set by link"
        PASSKEY_ADDED = "passkey_added", "passkey added"
        PASSKEY_REMOVED = "passkey_removed", "passkey removed"
        NAME_CHANGED = "name_changed", "name changed"
        EMAIL_CHANGED = "email_changed", "e-mail address changed"

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
        help_text="Empty for a request of a visitor who is not signed in.",
    )
    at = models.DateTimeField(auto_now_add=True)
    note = models.CharField(max_length=600, blank=True)

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
                        "name_changed",
                        "email_changed",
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


class RateCounter(models.Model):
    """Requests within one window of time (`core.rate_limits`)."""

    key = models.CharField(
        max_length=64,
        primary_key=True,
        help_text="Keyed hash of the subject and the window.",
    )
    count = models.PositiveIntegerField()
    ends_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering: ClassVar = ["ends_at", "key"]

    def __str__(self) -> str:
        return f"{self.count} until {self.ends_at:%Y-%m-%d %H:%M}"
