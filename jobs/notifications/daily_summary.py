"""Daily summary for operations managers: what can ship, is blocked, is new."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from django.conf import settings
from django.utils.timezone import now

from core.models import Role
from jobs.models import Job, Membership
from jobs.notifications import emails
from jobs.notifications.event_text import EventText, describe_event
from jobs.notifications.models import Email, Event
from jobs.queries import ShippingSummary, summarise_shipping

SEND_WINDOW = timedelta(hours=6)  # after the send hour; later it waits for the next day
# An event becomes visible when its transaction ends: longer than any takes.
SETTLING_TIME = timedelta(minutes=10)
FIRST_LOOK_BACK = timedelta(days=1)
MAX_LOOK_BACK = timedelta(days=7)
MAX_NEWS_EVENTS = 60  # listed; the rest is counted
EventKind = Event.Kind
NEWS_LABELS = {
    EventKind.FINDING_OPENED: ("new finding", "new findings"),
    EventKind.FINDING_RETURNED: (
        "finding needs a decision again",
        "findings need a decision again",
    ),
    EventKind.FINDING_DECIDED: ("decision", "decisions"),
    EventKind.RELEASE_SIGNED: ("release", "releases"),
}


@dataclass(frozen=True, slots=True)
class NewsItem:
    """One event and its description."""

    event: Event
    text: EventText


@dataclass(frozen=True, slots=True)
class JobNews:
    """The news of one job, oldest first."""

    job: Job
    items: tuple[NewsItem, ...]


def create_due_summaries() -> int:
    """Create the e-mail for operations managers whose local send hour has come.

    At most one a person and day; the e-mail's key makes sure of it.

    Returns
    -------
    int : number of e-mails created.
    """
    managers = Membership.objects.filter(role=Role.OPERATIONS).values("person")
    people = emails.filter_recipients(Email.Kind.DAILY_SUMMARY).filter(pk__in=managers)
    at = now()
    rows = []
    for person in people:
        local = at.astimezone(emails.get_recipient_timezone(person))
        send_at = local.replace(
            hour=settings.DAILY_SUMMARY_HOUR, minute=0, second=0, microsecond=0
        )
        if send_at <= local < send_at + SEND_WINDOW:
            key = f"daily_summary:{person.pk}:{local.date().isoformat()}"
            rows.append(Email(key=key, kind=Email.Kind.DAILY_SUMMARY, person=person))
    known = Email.objects.filter(key__in=[row.key for row in rows])
    existing = set(known.values_list("key", flat=True))
    fresh = [row for row in rows if row.key not in existing]
    # Another worker may create the same key meanwhile: its row stands.
    Email.objects.bulk_create(fresh, ignore_conflicts=True)
    return len(fresh)


def compose_summary(email: Email) -> emails.EmailContent | None:
    """Compose a daily summary; None where nothing changed since the one before."""
    previous = (
        Email.objects.filter(person=email.person, kind=email.kind, pk__lt=email.pk)
        .filter(outcome__in=[Email.Outcome.SENT, Email.Outcome.UNNEEDED])
        .order_by("-pk")
        .first()
    )
    shipping = summarise_shipping(email.person)
    content_hash = _hash_shipping(shipping)
    news, unlisted = _collect_news(email, _news_start(email, previous))
    # Without news, the summary is sent only if the shipping part changed.
    if not news and content_hash == _last_sent_hash(email):
        return None
    return emails.EmailContent(
        subject=_subject_line(shipping, news, unlisted),
        template="jobs/emails/daily_summary",
        context={"shipping": shipping, "news": news, "unlisted": unlisted},
        content_hash=content_hash,
    )


def _news_start(email: Email, previous: Email | None) -> datetime:
    """Return when the news begin: where the previous ended, at most a week ago."""
    if previous is None:
        return email.created_at - FIRST_LOOK_BACK - SETTLING_TIME
    start = max(previous.created_at, email.created_at - MAX_LOOK_BACK)
    return start - SETTLING_TIME


def _last_sent_hash(email: Email) -> str:
    """Return the content hash of the last summary that was sent."""
    sent = Email.objects.filter(
        person=email.person, kind=email.kind, outcome=Email.Outcome.SENT
    )
    last = sent.order_by("-pk").values_list("content_hash", flat=True).first()
    return _hash_of_nothing() if last is None else last


def _collect_news(email: Email, start: datetime) -> tuple[tuple[JobNews, ...], int]:
    """Collect the news of the jobs the recipient sees now, and count the unlisted.

    The window ends `SETTLING_TIME` before the e-mail was created. The next one begins
    there, so that an event written at this moment is neither repeated nor lost.
    """
    jobs = Job.objects.visible_to(email.person)
    found = Event.objects.filter(
        job__in=jobs,
        kind__in=NEWS_LABELS,
        at__gt=start,
        at__lte=email.created_at - SETTLING_TIME,
    )
    rows = list(
        found.select_related("job", "building", "actor").order_by(
            "job__ship_date", "job__number", "pk"
        )[:MAX_NEWS_EVENTS]
    )
    unlisted = found.count() - len(rows) if len(rows) == MAX_NEWS_EVENTS else 0
    by_job: dict[Job, list[NewsItem]] = {}
    for row in rows:
        by_job.setdefault(row.job, []).append(NewsItem(row, describe_event(row)))
    return tuple(JobNews(job, tuple(items)) for job, items in by_job.items()), unlisted


def _subject_line(
    shipping: ShippingSummary, news: Iterable[JobNews], unlisted: int
) -> str:
    kinds = [item.event.kind for each in news for item in each.items]
    parts = []
    if shipping.total:
        parts.append(f"{shipping.can_ship} of {shipping.total} due this week can ship")
    if unlisted:
        parts.append(f"{len(kinds) + unlisted} updates")
    else:
        for kind, (one, many) in NEWS_LABELS.items():
            if count := kinds.count(kind):
                parts.append(f"{count} {one if count == 1 else many}")
    text = ", ".join(parts) or "nothing is due this week any more"
    return f"Padstone: {text}"


def _hash_shipping(shipping: ShippingSummary) -> str:
    """Hash the shipping summary, ignoring the date: a day that passes is no change."""
    listed = [
        f"{row.building.pk} {row.blocker}"
        for _, row in (*shipping.ready, *shipping.stopped)
    ]
    counts = (shipping.released, shipping.ready_count, shipping.stopped_count)
    return _sha256_hex(f"{counts} {shipping.late_count} {listed}")


def _hash_of_nothing() -> str:
    return _sha256_hex(f"{(0, 0, 0)} 0 []")


def _sha256_hex(text: str) -> str:
    return sha256(text.encode()).hexdigest()
