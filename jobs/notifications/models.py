"""What happened and who is told of it: letters, other programs, calendars.

None of it is the record. What is done with is forgotten after some months.
"""

import uuid
from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from core.models import Person


class Announcement(models.Model):
    """Something that happened, written in the transaction in which it did.

    What is told to anybody is taken from here afterwards, so that nobody is told of
    what was never recorded, and a mail server that is down holds up no record.
    """

    class Kind(models.TextChoices):
        """What happened, in the words that other programs are told."""

        READING_STORED = "reading.stored", "readings stored"
        BUILDING_EVALUATED = "building.evaluated", "building evaluated"
        FINDING_OPENED = "finding.opened", "finding opened"
        FINDING_RETURNED = "finding.returned", "finding waits for a decision again"
        FINDING_DECIDED = "finding.decided", "finding decided"
        FINDING_CLOSED = "finding.closed", "finding closed"
        RELEASE_SIGNED = "release.signed", "release signed"
        STAGE_CHANGED = "stage.changed", "stage changed"

    uid = models.UUIDField(default=uuid.uuid4, unique=True)
    kind = models.CharField(max_length=30, choices=Kind)
    at = models.DateTimeField(auto_now_add=True)
    job = models.ForeignKey("jobs.Job", models.CASCADE, related_name="+")
    building = models.ForeignKey("jobs.Building", models.CASCADE, related_name="+")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    about = models.CharField(max_length=20, help_text="What kind of thing, if any.")
    about_id = models.BigIntegerField(help_text="Its key.")
    words = models.CharField(max_length=300, help_text="For people, in a few words.")
    page = models.CharField(max_length=200, help_text="Where people look at it.")
    detail = models.JSONField(default=dict, help_text="For programs; names nobody.")
    dispatched_at = models.DateTimeField(
        null=True, help_text="When it was handed to the webhooks that want it."
    )
    gathered_at = models.DateTimeField(
        null=True, help_text="When it was gathered into letters, if any want it."
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
                name="jobs_announcement_kind_known",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["job", "at"], name="jobs_announcement_by_job"),
            models.Index(
                fields=["id"],
                condition=Q(dispatched_at=None),
                name="jobs_announcement_to_dispatch",
            ),
            models.Index(
                fields=["kind", "job"],
                condition=Q(gathered_at=None),
                name="jobs_announcement_to_gather",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uid}"


class Letter(models.Model):
    """One letter to one person, from when it is due to when it was sent.

    The key is what makes it one: the same letter cannot be due twice. `outcome` is
    the mark that it was sent, and is written before it is.
    """

    class Kind(models.TextChoices):
        """What it is about."""

        DIGEST = "digest", "the morning digest"
        WAITING = "waiting", "a finding waits for you"
        SWITCHED_OFF = "switched_off", "a webhook was switched off"

    class Outcome(models.TextChoices):
        """What became of it."""

        SENT = "sent", "sent"
        FAILED = "failed", "handed over and refused; not tried again"
        UNNEEDED = "unneeded", "nothing to say any more, or not wanted"

    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=Kind)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    job = models.ForeignKey("jobs.Job", models.CASCADE, null=True, related_name="+")
    about = models.JSONField(default=list, help_text="Keys of what it is about.")
    made_at = models.DateTimeField(auto_now_add=True)
    settled_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=20, choices=Outcome, blank=True)
    fault = models.CharField(max_length=200, blank=True)
    standing = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 of where things stood in it."
    )

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind__in=["digest", "waiting", "switched_off"]),
                name="jobs_letter_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(settled_at=None, outcome="")
                | Q(
                    settled_at__isnull=False,
                    outcome__in=["sent", "failed", "unneeded"],
                ),
                name="jobs_letter_settled_says_how",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["kind", "id"],
                condition=Q(settled_at=None),
                name="jobs_letter_to_send",
            ),
            models.Index(fields=["person", "kind", "id"], name="jobs_letter_by_person"),
        ]

    def __str__(self) -> str:
        return self.key


class LetterChoices(models.Model):
    """Which letters a person wants, and when their day begins."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    digest = models.BooleanField(default=True)
    waiting = models.BooleanField(default=True)
    time_zone = models.CharField(
        max_length=64, blank=True, help_text="Of the IANA database; else the house's."
    )
    stop_key = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        help_text="Names the person in a link that stops letters, and nobody else.",
    )

    class Meta:
        ordering: ClassVar = ["person"]

    def __str__(self) -> str:
        return f"letters of {self.person}"


class WebhookQuerySet(models.QuerySet["Webhook"]):
    """The names people ask for."""

    def visible_to(self, person: Person) -> Self:
        """Webhooks of jobs this person may see; an administrator sees them all."""
        if person.is_administrator:
            return self
        return self.filter(job__memberships__person=person)


class Webhook(models.Model):
    """Another program's address that is told what happens on a job, or on all.

    Its secret is not kept: it follows from `nonce` and the house's own key. What is
    kept is a digest of it, by which a key that was changed since is noticed.
    """

    job = models.ForeignKey("jobs.Job", models.CASCADE, null=True, related_name="+")
    url = models.CharField(max_length=600)
    events = models.JSONField(help_text="Which kinds of announcement it is told.")
    nonce = models.CharField(max_length=64)
    secret_digest = models.CharField(max_length=64)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    off_at = models.DateTimeField(null=True)
    off_because = models.CharField(max_length=300, blank=True)

    objects = WebhookQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["job", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(off_at=None, off_because="")
                | Q(off_at__isnull=False) & ~Q(off_because=""),
                name="jobs_webhook_off_says_why",
            ),
            models.CheckConstraint(
                condition=~Q(events=[]), name="jobs_webhook_wants_something"
            ),
        ]

    def __str__(self) -> str:
        return self.url


class Delivery(models.Model):
    """One announcement on its way to one webhook; without one, a trial."""

    webhook = models.ForeignKey(Webhook, models.CASCADE, related_name="deliveries")
    announcement = models.ForeignKey(
        Announcement, models.CASCADE, null=True, related_name="+"
    )
    uid = models.UUIDField(default=uuid.uuid4, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    last_try_at = models.DateTimeField(null=True)
    status = models.PositiveSmallIntegerField(null=True)
    fault = models.CharField(max_length=300, blank=True)
    taken_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["-pk"]
        verbose_name_plural: ClassVar = "deliveries"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["webhook", "announcement"], name="jobs_delivery_once"
            ),
            models.CheckConstraint(
                condition=Q(taken_at=None) | Q(next_try_at=None, fault=""),
                name="jobs_delivery_taken_is_done",
            ),
        ]
        indexes: ClassVar = [
            models.Index(
                fields=["next_try_at"],
                condition=Q(next_try_at__isnull=False),
                name="jobs_delivery_due",
            ),
        ]

    def __str__(self) -> str:
        return str(self.uid)


class CalendarKey(models.Model):
    """The secret address of one person's calendar: its digest, never itself."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+"
    )
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256.")
    made_at = models.DateTimeField(auto_now_add=True)
    body_digest = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 of what it said last."
    )
    body_changed_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["person"]

    def __str__(self) -> str:
        return f"calendar of {self.person}"


class CalendarDate(models.Model):
    """A date that calendars show, as iCalendar wants it kept: RFC 5545.

    Its `uid` never changes and `sequence` counts its changes (sections 3.8.4.7 and
    3.8.7.4). One that is off stays, cancelled, so that calendars learn of it.
    """

    class Kind(models.TextChoices):
        """What happens that day."""

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
    made_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering: ClassVar = ["day", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["job"],
                condition=Q(kind="ship"),
                name="jobs_calendar_one_ship_date",
            ),
            models.UniqueConstraint(
                fields=["building"],
                condition=Q(kind="strength"),
                name="jobs_calendar_one_gate",
            ),
            models.CheckConstraint(
                condition=Q(kind="ship", building=None)
                | Q(kind="strength", building__isnull=False),
                name="jobs_calendar_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.summary} {self.day}"
