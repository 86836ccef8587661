"""Letters: who wants which, and how each is sent once or not at all.

A letter is due from when its row is there; the row's key makes it one, however often
a task runs. It is then written and sent *at most once*: the mark that it was sent is
committed before it is handed to the mail server, so that a worker that dies in
between loses a letter rather than sending it twice. That is chosen knowingly: each
says only what the pages say, the next digest covers what a failed one did not, and
people who get the same letter over and over stop reading it. A server that cannot be
reached costs nothing, because it is reached first and the mark is made after; but
what was not sent within `STALE` is old news and is left.

What a letter says is gathered when it is sent, from what its reader may see then.
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
from django.core.exceptions import ValidationError
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
from jobs.notifications.models import Letter, LetterChoices

logger = logging.getLogger(__name__)

MAX_EMAIL_AGE = timedelta(days=1)
OPTIONAL_KINDS = (
    Letter.Kind.DIGEST,
    Letter.Kind.WAITING,
)  # which a person can turn off
MAX_SUBJECT_LENGTH = 120
_signer = Signer(salt="jobs.notifications.emails.stop")


@dataclass(frozen=True, slots=True, kw_only=True)
class EmailContent:
    """What a letter says.

    Attributes
    ----------
    template : its two templates, without their endings `.txt` and `.html`.
    standing : digest of where things stand in it, to tell whether that changed.
    """

    subject: str
    template: str
    context: Mapping[str, Any] = field(default_factory=dict)
    content_hash: str = ""


ComposeEmail = Callable[[Letter], EmailContent | None]


def public_url(path: str) -> str:
    """Give the public address of a page."""
    return f"{settings.PUBLIC_URL.rstrip('/')}{path}"


def get_preferences(person: Person) -> LetterChoices:
    """Give what a person chose, or what holds until they do."""
    return LetterChoices.objects.get_or_create(person=person)[0]


def get_time_zone(choices: LetterChoices) -> ZoneInfo:
    """Give the time zone of a person's day."""
    return ZoneInfo(choices.time_zone or settings.TIME_ZONE)


@transaction.atomic
def save_preferences(
    *, actor: Person, digest: bool, waiting: bool, time_zone: str
) -> None:
    """Keep which letters a person wants, and their time zone.

    Raises
    ------
    ValidationError
        If there is no such time zone.
    """
    choices = get_preferences(actor)
    choices.digest, choices.waiting = digest, waiting
    choices.time_zone = time_zone
    try:
        get_time_zone(choices)
    except (OSError, ValueError):
        msg = f"There is no time zone “{time_zone}”; one looks like America/Denver."
        raise ValidationError({"time_zone": msg}, code="zone") from None
    choices.save()


def unsubscribe_url(choices: LetterChoices, kind: str) -> str:
    """Give the link that turns a kind of letter off, for whoever has the letter."""
    token = _signer.sign(f"{choices.stop_key.hex}.{kind}")
    return public_url(reverse("notifications:unsubscribe", args=[token]))


def read_unsubscribe_kind(token: str) -> str:
    """Say which kind of letter a link turns off; empty where nobody signed it."""
    try:
        _, _, kind = _signer.unsign(token).partition(".")
    except BadSignature:
        return ""
    return kind if kind in OPTIONAL_KINDS else ""


def unsubscribe(token: str) -> None:
    """Turn the letters off that a signed link is for; twice is once."""
    kind = read_unsubscribe_kind(token)
    if kind:
        key = UUID(_signer.unsign(token).partition(".")[0])
        LetterChoices.objects.filter(stop_key=key).update(**{kind: False})


def filter_recipients(kind: str) -> QuerySet[Person]:
    """People who can get letters and did not turn this kind off."""
    people = Person.objects.filter(is_active=True).exclude(email="")
    if kind in OPTIONAL_KINDS:
        off = LetterChoices.objects.filter(**{kind: False})
        people = people.exclude(pk__in=off.values("person"))
    return people


def send_due_emails(kind: Letter.Kind, compose: ComposeEmail) -> int:
    """Send the letters of one kind that are due.

    One that cannot be written is logged and holds up no other; one that the mail
    server refuses is not tried again, and ends this run: the next goes on behind it.

    Parameters
    ----------
    kind : which letters.
    compose : says what is in one, or None where there is nothing to say any more.

    Returns
    -------
    int : how many were sent.
    """
    due = Letter.objects.filter(
        kind=kind, settled_at=None, made_at__gt=now() - MAX_EMAIL_AGE
    ).order_by("pk")
    keys = list(due.values_list("pk", flat=True))
    if not keys:
        return 0
    sent = 0
    with _open_connection() as mailbox:
        if mailbox is None:
            return 0
        for pk in keys:
            try:
                message = _claim_email(pk, compose)
            except Exception:
                logger.exception("Letter %s could not be written.", pk)
                continue
            if message is None:
                continue
            if not _send_message(pk, message, mailbox):
                break
            sent += 1
    return sent


@contextmanager
def _open_connection() -> Iterator[BaseEmailBackend | None]:
    """Reach the mail server before anything is marked as sent; None if it is down."""
    mailbox: BaseEmailBackend = get_connection()
    try:
        mailbox.open()
    except (OSError, SMTPException):
        logger.exception("The mail server cannot be reached; letters wait.")
        yield None
        return
    try:
        yield mailbox
    finally:
        try:
            mailbox.close()
        except (OSError, SMTPException):
            logger.exception("The mail server ended the connection.")


def _claim_email(pk: int, compose: ComposeEmail) -> EmailMultiAlternatives | None:
    """Write a letter and mark it as sent; None if another worker did, or it is void."""
    with transaction.atomic(durable=True):
        letter = (
            Letter.objects.select_for_update(of=("self",), skip_locked=True)
            .select_related("person", "job")
            .filter(pk=pk, settled_at=None)
            .first()
        )
        if letter is None:
            return None
        choices = get_preferences(letter.person)
        draft, message = None, None
        if filter_recipients(letter.kind).filter(pk=letter.person_id).exists():
            with timezone.override(get_time_zone(choices)):
                draft = compose(letter)
                if draft is not None:
                    message = _build_message(letter, draft, choices)
        letter.settled_at = now()
        letter.outcome = Letter.Outcome.SENT if draft else Letter.Outcome.UNNEEDED
        if draft:
            letter.standing = draft.content_hash
        letter.save(update_fields=["settled_at", "outcome", "standing"])
    return message


def _build_message(
    letter: Letter, draft: EmailContent, choices: LetterChoices
) -> EmailMultiAlternatives:
    """Put a letter together: plain text and HTML, each complete."""
    headers = {"Auto-Submitted": "auto-generated"}  # RFC 3834 section 5
    stop = ""
    if letter.kind in OPTIONAL_KINDS:
        stop = unsubscribe_url(choices, letter.kind)
        headers["List-Unsubscribe"] = f"<{stop}>"  # RFC 2369 section 3.2
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058
    subject = " ".join(draft.subject.split())[:MAX_SUBJECT_LENGTH]
    context = {
        **draft.context,
        "subject": subject,
        "reader": letter.person,
        "public": settings.PUBLIC_URL.rstrip("/"),
        "stop": stop,
    }
    message = EmailMultiAlternatives(
        subject=subject,
        body=render_to_string(f"{draft.template}.txt", context),
        to=[letter.person.email],
        headers=headers,
    )
    message.attach_alternative(
        render_to_string(f"{draft.template}.html", context), "text/html"
    )
    return message


def _send_message(
    pk: int, message: EmailMultiAlternatives, mailbox: BaseEmailBackend
) -> bool:
    """Send a letter that is marked as sent; note it if that was not so."""
    try:
        mailbox.send_messages([message])
    except Exception as error:
        logger.exception("Letter %s was not taken.", pk)
        Letter.objects.filter(pk=pk).update(
            outcome=Letter.Outcome.FAILED, fault=type(error).__name__
        )
        return False
    return True
