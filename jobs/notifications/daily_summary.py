"""The morning's digest: what can ship this week, what stops the rest, what is new."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from django.conf import settings
from django.utils.timezone import now

from core.models import Role
from jobs.models import Job, Membership
from jobs.notifications import emails
from jobs.notifications.models import Announcement, Letter, LetterChoices
from jobs.queries import ShippingSummary, summarise_shipping

SEND_WINDOW = timedelta(
    hours=6
)  # from its hour on: a digest is for the beginning of a day
SETTLING_TIME = timedelta(minutes=10)  # longer than any transaction takes to be seen
FIRST_LOOK_BACK = timedelta(days=1)  # the first one
MAX_LOOK_BACK = timedelta(days=7)
MAX_NEWS_EVENTS = 60  # of what is new; the rest is counted
EventKind = Announcement.Kind
NEWS_LABELS = {
    EventKind.FINDING_OPENED: ("new finding", "new findings"),
    EventKind.FINDING_RETURNED: ("finding to decide again", "findings to decide again"),
    EventKind.FINDING_DECIDED: ("decision", "decisions"),
    EventKind.RELEASE_SIGNED: ("release", "releases"),
}


@dataclass(frozen=True, slots=True)
class JobNews:
    """What is new on one job, in the order in which it happened."""

    job: Job
    events: tuple[Announcement, ...]


def create_due_summaries() -> int:
    """Let this morning's digest be due to everybody whose morning it is.

    To each operations manager of a job, by the clock of their time zone, once a day.

    Returns
    -------
    int : how many have one due that had none.
    """
    managers = Membership.objects.filter(role=Role.OPERATIONS).values("person")
    people = emails.filter_recipients(Letter.Kind.DIGEST).filter(pk__in=managers)
    chosen = {
        row.person_id: row for row in LetterChoices.objects.filter(person__in=people)
    }
    at = now()
    rows = []
    for person in people:
        zone = emails.get_time_zone(chosen.get(person.pk) or LetterChoices())
        here = at.astimezone(zone)
        begins = here.replace(
            hour=settings.DIGEST_HOUR, minute=0, second=0, microsecond=0
        )
        if begins <= here < begins + SEND_WINDOW:
            key = f"digest:{person.pk}:{here.date().isoformat()}"
            rows.append(Letter(key=key, kind=Letter.Kind.DIGEST, person=person))
    known = Letter.objects.filter(key__in=[row.key for row in rows])
    taken = set(known.values_list("key", flat=True))
    fresh = [row for row in rows if row.key not in taken]
    # Two at once: what the other made meanwhile is there, and stays as it is.
    Letter.objects.bulk_create(fresh, ignore_conflicts=True)
    return len(fresh)


def compose_summary(letter: Letter) -> emails.EmailContent | None:
    """Say what a digest says; None where nothing changed since the one before."""
    before = (
        Letter.objects.filter(person=letter.person, kind=letter.kind, pk__lt=letter.pk)
        .filter(outcome__in=[Letter.Outcome.SENT, Letter.Outcome.UNNEEDED])
        .order_by("-pk")
        .first()
    )
    answer = summarise_shipping(letter.person)
    stands = _hash_shipping(answer)
    news, more = _collect_news(letter, _news_start(letter, before))
    stood = _last_sent_hash(letter)
    if not news and stands == stood:
        return None
    return emails.EmailContent(
        subject=_subject_line(answer, news, more),
        template="jobs/emails/daily_summary",
        context={"shipping": answer, "news": news, "more": more},
        content_hash=stands,
    )


def _news_start(letter: Letter, before: Letter | None) -> datetime:
    """Say since when there is news: where the one before ended, a week at most."""
    if before is None:
        return letter.made_at - FIRST_LOOK_BACK - SETTLING_TIME
    return max(before.made_at, letter.made_at - MAX_LOOK_BACK) - SETTLING_TIME


def _last_sent_hash(letter: Letter) -> str:
    """Say where things stood in the last digest that was sent."""
    said = Letter.objects.filter(
        person=letter.person, kind=letter.kind, outcome=Letter.Outcome.SENT
    )
    last = said.order_by("-pk").values_list("standing", flat=True).first()
    return _hash_of_nothing() if last is None else last


def _collect_news(letter: Letter, since: datetime) -> tuple[tuple[JobNews, ...], int]:
    """Gather what is new on the jobs its reader sees now; the rest is counted.

    Up to some minutes ago, so that what is written at this moment is neither told
    twice nor left out: the next one begins where this one ends.
    """
    seen = Job.objects.visible_to(letter.person)
    found = Announcement.objects.filter(
        job__in=seen,
        kind__in=NEWS_LABELS,
        at__gt=since,
        at__lte=letter.made_at - SETTLING_TIME,
    )
    rows = list(
        found.select_related("job", "building", "person").order_by(
            "job__ship_date", "job__number", "pk"
        )[:MAX_NEWS_EVENTS]
    )
    more = found.count() - len(rows) if len(rows) == MAX_NEWS_EVENTS else 0
    by_job: dict[int, list[Announcement]] = {}
    for row in rows:
        by_job.setdefault(row.job_id, []).append(row)
    return tuple(JobNews(each[0].job, tuple(each)) for each in by_job.values()), more


def _subject_line(shipping: ShippingSummary, news: Iterable[JobNews], more: int) -> str:
    lines = [line for each in news for line in each.events]
    parts = []
    if shipping.total:
        parts.append(f"{shipping.can_ship} of {shipping.total} due this week can ship")
    for kind, (one, many) in NEWS_LABELS.items():
        count = sum(line.kind == kind for line in lines)
        if count and not more:
            parts.append(f"{count} {one if count == 1 else many}")
    if more:
        parts.append(f"{len(lines) + more} things new")
    text = ", ".join(parts) or "nothing is due this week any more"
    return f"Padstone: {text}"


def _hash_shipping(shipping: ShippingSummary) -> str:
    """Digest where things stand; that a day has passed is no change."""
    named = [
        f"{row.building.pk} {row.blocker}"
        for _, row in (*shipping.ready, *shipping.stopped)
    ]
    counts = (shipping.released, shipping.ready_count, shipping.stopped_count)
    return _sha256_hex(f"{counts} {shipping.late_count} {named}")


def _hash_of_nothing() -> str:
    return _sha256_hex(f"{(0, 0, 0)} 0 []")


def _sha256_hex(text: str) -> str:
    return sha256(text.encode()).hexdigest()
