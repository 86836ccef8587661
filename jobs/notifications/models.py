"""Events, e-mail, webhooks and calendar dates.

None of it is the record: old rows are deleted (`jobs.notifications.retention`).
"""

import uuid
from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from core.models import Person


class Event(models.Model):
    """Outbox row: something that happened, written in the same transaction.

    E-mail and webhooks are made from these rows afterwards. So nobody is notified of
    a change that was rolled back, and a mail server that is down delays no record.
    Rows hold codes; `jobs.notifications.event_text` turns them into words.
    """

    class Kind(models.TextChoices):
        """Kinds of event; the value is the `type` that webhooks receive."""

        READING_STORED = "reading.stored", "readings stored"
        BUILDING_EVALUATED = "building.evaluated", "building evaluated"
        FINDING_OPENED = "finding.opened", "finding opened"
        FINDING_RETURNED = "finding.returned", "finding needs a decision again"
        FINDING_DECIDED = "finding.decided", "finding decided"
        FINDING_CLOSED = "finding.closed", "finding closed"
        RELEASE_SIGNED = "release.signed", "release signed"
        STAGE_CHANGED = "stage.changed", "stage changed"

    uid = models.UUIDField(default=uuid.uuid4, unique=True)
    kind = models.CharField(max_length=30, choices=Kind)
    at = models.DateTimeField(auto_now_add=True)
    job = models.ForeignKey("jobs.Job", models.CASCADE, related_name="+")
    building = models.ForeignKey("jobs.Building", models.CASCADE, related_name="+")
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    subject_kind = models.CharField(
        max_length=20, help_text="Key of `settings.EVENT_LINKS`, or `stage`."
    )
    subject_id = models.BigIntegerField()
    detail = models.JSONField(
        default=dict, help_text="Codes, sent to webhooks; never a person's name."
    )
    dispatched_at = models.DateTimeField(
        null=True, help_text="When its webhook deliveries were created."
    )
    batched_at = models.DateTimeField(
        null=True, help_text="When it went into a batch e-mail."
    )

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(
                    kind__in=[
                        "reading.stored",
                        "building.evaluated",
                        "finding.opened",
                        "finding.returned",
                        "finding.decided",
                        "finding.closed",
                        "release.signed",
                        "stage.changed",
                    ]
                ),
                name="notifications_event_kind_known",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["job", "at"], name="notifications_event_by_job"),
            models.Index(
                fields=["id"],
                condition=Q(dispatched_at=None),
                name="notifications_event_new",
            ),
            models.Index(
                fields=["kind", "job"],
                condition=Q(batched_at=None),
                name="notifications_event_unbatched",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uid}"


class Email(models.Model):
    """One e-mail to one person, from when it is due to when it was processed.

    The unique key prevents duplicates, however often a task runs. `outcome` is
    committed before the message goes to the mail server.
    """

    class Kind(models.TextChoices):
        """Kinds of e-mail; the optional ones are fields of `EmailPreferences`."""

        DAILY_SUMMARY = "daily_summary", "daily summary"
        DECISION_REMINDER = "decision_reminder", "findings that need your decision"
        WEBHOOK_DISABLED = "webhook_disabled", "a webhook was switched off"

    class Outcome(models.TextChoices):
        """Result of processing."""

        SENT = "sent", "sent"
        FAILED = "failed", "refused by the mail server; not tried again"
        UNNEEDED = "unneeded", "nothing to report, or not wanted"

    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=Kind)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    job = models.ForeignKey("jobs.Job", models.CASCADE, null=True, related_name="+")
    subject_ids = models.JSONField(
        default=list, help_text="Keys of the findings or the webhook it is about."
    )
    created_at = models.DateTimeField(auto_now_add=True)
    processed_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=20, choices=Outcome, blank=True)
    error = models.CharField(max_length=200, blank=True)
    content_hash = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 of the shipping summary in it."
    )

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(
                    kind__in=["daily_summary", "decision_reminder", "webhook_disabled"]
                ),
                name="notifications_email_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(processed_at=None, outcome="")
                | Q(
                    processed_at__isnull=False,
                    outcome__in=["sent", "failed", "unneeded"],
                ),
                name="notifications_email_processed_has_outcome",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["kind", "id"],
                condition=Q(processed_at=None),
                name="notifications_email_due",
            ),
            models.Index(
                fields=["person", "kind", "id"], name="notifications_email_by_person"
            ),
        ]

    def __str__(self) -> str:
        return self.key


class EmailPreferences(models.Model):
    """The optional e-mails a person wants."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    daily_summary = models.BooleanField(default=True)
    decision_reminder = models.BooleanField(default=True)
    unsubscribe_key = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        help_text="Identifies the person in an unsubscribe link, without a name.",
    )

    class Meta:
        ordering: ClassVar = ["person"]

    def __str__(self) -> str:
        return f"e-mail preferences of {self.person}"


class WebhookQuerySet(models.QuerySet["Webhook"]):
    """Query helpers for `Webhook`."""

    def visible_to(self, person: Person) -> Self:
        """Filter to jobs the person may see; administrators see all."""
        if person.is_administrator:
            return self
        return self.filter(job__memberships__person=person)


class Webhook(models.Model):
    """An address of another system that receives the events of one job, or of all.

    The secret itself is not stored: it is derived from `nonce` and `SECRET_KEY`. Its
    hash shows when the key was changed since.
    """

    class DisabledReason(models.TextChoices):
        """Why nothing is sent; `jobs.notifications.queries` makes the sentence."""

        BY_PERSON = "by_person", "switched off by hand"
        NO_MANAGER = "no_manager", "owner does not manage the job"
        KEY_CHANGED = "key_changed", "server key changed"
        NOT_DELIVERED = "not_delivered", "deliveries failed for a day"

    job = models.ForeignKey("jobs.Job", models.CASCADE, null=True, related_name="+")
    url = models.CharField(max_length=600)
    events = models.JSONField(help_text="Kinds of event it receives.")
    nonce = models.CharField(max_length=64)
    secret_hash = models.CharField(max_length=64)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    disabled_at = models.DateTimeField(null=True)
    disabled_reason = models.CharField(
        max_length=20, choices=DisabledReason, blank=True
    )
    disabled_detail = models.CharField(
        max_length=300,
        blank=True,
        help_text="Who switched it off, or the error of the last delivery.",
    )

    objects = WebhookQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["job", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(disabled_at=None, disabled_reason="", disabled_detail="")
                | Q(
                    disabled_at__isnull=False,
                    disabled_reason__in=[
                        "by_person",
                        "no_manager",
                        "key_changed",
                        "not_delivered",
                    ],
                ),
                name="notifications_webhook_disabled_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(events=[]), name="notifications_webhook_has_events"
            ),
        ]

    def __str__(self) -> str:
        return self.url


class Delivery(models.Model):
    """One event on its way to one webhook; without an event, a test."""

    webhook = models.ForeignKey(Webhook, models.CASCADE, related_name="deliveries")
    event = models.ForeignKey(Event, models.CASCADE, null=True, related_name="+")
    uid = models.UUIDField(default=uuid.uuid4, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField(null=True)
    last_attempt_at = models.DateTimeField(null=True)
    status = models.PositiveSmallIntegerField(
        null=True, help_text="HTTP status of the last response, if there was one."
    )
    error = models.CharField(max_length=300, blank=True)
    accepted_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["-pk"]
        verbose_name_plural: ClassVar = "deliveries"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["webhook", "event"], name="notifications_delivery_once"
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None) | Q(next_attempt_at=None, error=""),
                name="notifications_delivery_accepted_is_done",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["next_attempt_at"],
                condition=Q(next_attempt_at__isnull=False),
                name="notifications_delivery_due",
            ),
        ]

    def __str__(self) -> str:
        return str(self.uid)


class CalendarKey(models.Model):
    """The secret calendar address of one person: only its hash is stored."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    token_hash = models.CharField(max_length=64, unique=True, help_text="SHA-256.")
    created_at = models.DateTimeField(auto_now_add=True)
    body_hash = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 of the calendar last sent."
    )
    body_changed_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["person"]

    def __str__(self) -> str:
        return f"calendar of {self.person}"


class CalendarDate(models.Model):
    """A date for calendars, with the fields iCalendar needs (RFC 5545).

    `uid` never changes and `sequence` counts the changes (sections 3.8.4.7 and
    3.8.7.4). A cancelled date stays for a time, so that calendars learn of it.
    """

    class Kind(models.TextChoices):
        """Kinds of date."""

        SHIP = "ship", "the steel ships"
        STRENGTH = "strength", "the strength gate is likely to open"

    uid = models.UUIDField(default=uuid.uuid4, unique=True)
    kind = models.CharField(max_length=20, choices=Kind)
    job = models.ForeignKey("jobs.Job", models.CASCADE, related_name="+")
    building = models.ForeignKey(
        "jobs.Building", models.CASCADE, null=True, related_name="+"
    )
    day = models.DateField()
    summary = models.CharField(max_length=300)
    note = models.TextField(blank=True)
    cancelled = models.BooleanField(default=False)
    sequence = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering: ClassVar = ["day", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job"],
                condition=Q(kind="ship"),
                name="notifications_one_ship_date_per_job",
            ),
            models.UniqueConstraint(
                fields=["building"],
                condition=Q(kind="strength"),
                name="notifications_one_gate_per_building",
            ),
            models.CheckConstraint(
                condition=Q(kind="ship", building=None)
                | Q(kind="strength", building__isnull=False),
                name="notifications_calendar_date_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.summary} {self.day}"
