"""E-mail: preferences, unsubscribe links, and sending at most once.

An e-mail is due from when its row exists; the row's key makes it unique, however often
a task runs. The outcome `sent` is committed before the message goes to the mail server,
so a worker that dies in between loses the message rather than sending it twice. That is
on purpose: an e-mail repeats what the pages show, the next daily summary covers what a
lost one did not, and people stop reading what arrives twice. A mail server that is down
costs nothing, because the connection is opened first. What was not sent within
`MAX_EMAIL_AGE` is old news and is dropped.

The content is collected when the e-mail is sent, from what the recipient may see then.
"""

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from smtplib import SMTPException
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.timezone import now

from core.models import Person
from core.timezones import get_timezone
from jobs.notifications.models import Email, EmailPreferences

logger = logging.getLogger(__name__)

MAX_EMAIL_AGE = timedelta(days=1)
OPTIONAL_KINDS = (Email.Kind.DAILY_SUMMARY, Email.Kind.DECISION_REMINDER)
MAX_SUBJECT_LENGTH = 120
_signer = Signer(salt="jobs.notifications.emails.unsubscribe")


@dataclass(frozen=True, slots=True, kw_only=True)
class EmailContent:
    """Subject and body of an e-mail.

    Attributes
    ----------
    template : name of its two templates, without `.txt` and `.html`.
    content_hash : SHA-256 that shows whether the next one would say anything new.
    """

    subject: str
    template: str
    context: Mapping[str, Any] = field(default_factory=dict)
    content_hash: str = ""


ComposeEmail = Callable[[Email], EmailContent | None]


def public_url(path: str) -> str:
    """Return the public URL of a page."""
    return f"{settings.PUBLIC_URL.rstrip('/')}{path}"


def get_preferences(person: Person) -> EmailPreferences:
    """Return a person's e-mail preferences, created with the defaults if missing."""
    return EmailPreferences.objects.get_or_create(person=person)[0]


def get_recipient_timezone(person: Person) -> ZoneInfo:
    """Return the time zone of a person's account, else that of the site."""
    return get_timezone(person.time_zone) or ZoneInfo(settings.TIME_ZONE)


@transaction.atomic
def save_preferences(
    *, actor: Person, daily_summary: bool, decision_reminder: bool
) -> None:
    """Save which e-mails a person wants."""
    preferences = get_preferences(actor)
    preferences.daily_summary = daily_summary
    preferences.decision_reminder = decision_reminder
    preferences.save()


def unsubscribe_url(preferences: EmailPreferences, kind: str) -> str:
    """Return the signed link that unsubscribes from one kind of e-mail."""
    token = _signer.sign(f"{preferences.unsubscribe_key.hex}.{kind}")
    return public_url(reverse("notifications:unsubscribe", args=[token]))


def read_unsubscribe_kind(token: str) -> str:
    """Return the kind of e-mail a link is for; empty if the signature is wrong."""
    try:
        _, _, kind = _signer.unsign(token).partition(".")
    except BadSignature:
        return ""
    return kind if kind in OPTIONAL_KINDS else ""


def unsubscribe(token: str) -> None:
    """Turn off the e-mails a signed link is for; safe to repeat."""
    kind = read_unsubscribe_kind(token)
    if kind:
        key = UUID(_signer.unsign(token).partition(".")[0])
        rows = EmailPreferences.objects.filter(unsubscribe_key=key)
        rows.update(**{kind: False})


def filter_recipients(kind: str) -> QuerySet[Person]:
    """Filter to people with an address who did not turn this kind off."""
    people = Person.objects.filter(is_active=True).exclude(email="")
    # No row means the defaults, which are on: so the exceptions are excluded.
    if kind in OPTIONAL_KINDS:
        off = EmailPreferences.objects.filter(**{kind: False})
        people = people.exclude(pk__in=off.values("person"))
    return people


def send_due_emails(kind: Email.Kind, compose: ComposeEmail) -> int:
    """Send the e-mails of one kind that are due.

    One that cannot be composed is logged and delays no other. One that the mail server
    refuses is not tried again and ends this run; the next run continues after it.

    Parameters
    ----------
    kind : which e-mails.
    compose : returns the content, or None where there is nothing to report any more.

    Returns
    -------
    int : number of e-mails sent.
    """
    due = Email.objects.filter(
        kind=kind, processed_at=None, created_at__gt=now() - MAX_EMAIL_AGE
    ).order_by("pk")
    keys = list(due.values_list("pk", flat=True))
    if not keys:
        return 0
    sent = 0
    with _open_connection() as connection:
        if connection is None:
            return 0
        for pk in keys:
            try:
                message = _claim_email(pk, compose)
            except Exception:
                logger.exception("E-mail %s could not be composed.", pk)
                continue
            if message is None:  # claimed by another worker, or nothing to report
                continue
            if not _send_message(pk, message, connection):
                break
            sent += 1
    return sent


@contextmanager
def _open_connection() -> Iterator[BaseEmailBackend | None]:
    """Connect to the mail server before anything is marked as sent; None if down."""
    connection: BaseEmailBackend = get_connection()
    try:
        connection.open()
    except (OSError, SMTPException):
        logger.exception("The mail server cannot be reached; e-mails stay due.")
        yield None
        return
    try:
        yield connection
    finally:
        try:
            connection.close()
        except (OSError, SMTPException):
            logger.exception("The mail server closed the connection.")


def _claim_email(pk: int, compose: ComposeEmail) -> EmailMultiAlternatives | None:
    """Compose an e-mail and mark it as sent; None if claimed elsewhere or unneeded."""
    with transaction.atomic(durable=True):
        email = (
            Email.objects.select_for_update(of=("self",), skip_locked=True)
            .select_related("person", "job")
            .filter(pk=pk, processed_at=None)
            .first()
        )
        if email is None:
            return None
        preferences = get_preferences(email.person)
        content, message = None, None
        if filter_recipients(email.kind).filter(pk=email.person_id).exists():
            with timezone.override(get_recipient_timezone(email.person)):
                content = compose(email)
                if content is not None:
                    message = _build_message(email, content, preferences)
        email.processed_at = now()
        email.outcome = Email.Outcome.SENT if content else Email.Outcome.UNNEEDED
        if content:
            email.content_hash = content.content_hash
        email.save(update_fields=["processed_at", "outcome", "content_hash"])
    return message


def _build_message(
    email: Email, content: EmailContent, preferences: EmailPreferences
) -> EmailMultiAlternatives:
    """Build a message with a plain text and an HTML part, each complete."""
    headers = {"Auto-Submitted": "auto-generated"}  # RFC 3834 section 5
    link = ""
    if email.kind in OPTIONAL_KINDS:
        link = unsubscribe_url(preferences, email.kind)
        headers["List-Unsubscribe"] = f"<{link}>"  # RFC 2369 section 3.2
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058
    # A subject with a line break would be refused as header injection.
    subject = " ".join(content.subject.split())[:MAX_SUBJECT_LENGTH]
    context = {
        **content.context,
        "subject": subject,
        "recipient": email.person,
        "public": settings.PUBLIC_URL.rstrip("/"),
        "unsubscribe_url": link,
    }
    message = EmailMultiAlternatives(
        subject=subject,
        body=render_to_string(f"{content.template}.txt", context),
        to=[email.person.email],
        headers=headers,
    )
    message.attach_alternative(
        render_to_string(f"{content.template}.html", context), "text/html"
    )
    return message


def _send_message(
    pk: int, message: EmailMultiAlternatives, connection: BaseEmailBackend
) -> bool:
    """Send a message already marked as sent; record a failure if it is refused."""
    try:
        connection.send_messages([message])
    except Exception as error:
        logger.exception("E-mail %s was refused.", pk)
        Email.objects.filter(pk=pk).update(
            outcome=Email.Outcome.FAILED, error=type(error).__name__
        )
        return False
    return True
