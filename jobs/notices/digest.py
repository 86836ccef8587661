"""The morning's digest: what can ship this week, what stops the rest, what is new."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from django.conf import settings
from django.utils.timezone import now

from core.models import Role
from jobs.models import Job, Membership
from jobs.notices import letters
from jobs.notices.models import Announcement, Letter, LetterChoices
from jobs.queries import ShippingAnswer, shipping_answer

MORNING = timedelta(hours=6)  # from its hour on: a digest is for the beginning of a day
SETTLES = timedelta(minutes=10)  # longer than any transaction takes to be seen
LOOKS_BACK = timedelta(days=1)  # the first one
LOOKS_BACK_AT_MOST = timedelta(days=7)
LINES_AT_MOST = 60  # of what is new; the rest is counted
Kind = Announcement.Kind
NEWS = {
    Kind.FINDING_OPENED: ("new finding", "new findings"),
    Kind.FINDING_RETURNED: ("finding to decide again", "findings to decide again"),
    Kind.FINDING_DECIDED: ("decision", "decisions"),
    Kind.RELEASE_SIGNED: ("release", "releases"),
}


@dataclass(frozen=True, slots=True)
class News:
    """What is new on one job, in the order in which it happened."""

    job: Job
    lines: tuple[Announcement, ...]


def make_due() -> int:
    """Let this morning's digest be due to everybody whose morning it is.

    To each operations manager of a job, by the clock of their time zone, once a day.

    Returns
    -------
    int : how many have one due that had none.
    """
    managers = Membership.objects.filter(role=Role.OPERATIONS).values("person")
    people = letters.readers(Letter.Kind.DIGEST).filter(pk__in=managers)
    chosen = {
        row.person_id: row for row in LetterChoices.objects.filter(person__in=people)
    }
    at = now()
    rows = []
    for person in people:
        zone = letters.zone_of(chosen.get(person.pk) or LetterChoices())
        here = at.astimezone(zone)
        begins = here.replace(
            hour=settings.DIGEST_HOUR, minute=0, second=0, microsecond=0
        )
        if begins <= here < begins + MORNING:
            key = f"digest:{person.pk}:{here.date().isoformat()}"
            rows.append(Letter(key=key, kind=Letter.Kind.DIGEST, person=person))
    known = Letter.objects.filter(key__in=[row.key for row in rows])
    taken = set(known.values_list("key", flat=True))
    fresh = [row for row in rows if row.key not in taken]
    # Two at once: what the other made meanwhile is there, and stays as it is.
    Letter.objects.bulk_create(fresh, ignore_conflicts=True)
    return len(fresh)


def compose(letter: Letter) -> letters.Draft | None:
    """Say what a digest says; None where nothing changed since the one before."""
    before = (
        Letter.objects.filter(person=letter.person, kind=letter.kind, pk__lt=letter.pk)
        .filter(outcome__in=[Letter.Outcome.SENT, Letter.Outcome.UNNEEDED])
        .order_by("-pk")
        .first()
    )
    answer = shipping_answer(letter.person)
    stands = _standing(answer)
    news, more = _news(letter, _since(letter, before))
    stood = _stood(letter)
    if not news and stands == stood:
        return None
    return letters.Draft(
        subject=_subject(answer, news, more),
        template="jobs/letters/digest",
        context={"answer": answer, "news": news, "more": more},
        standing=stands,
    )


def _since(letter: Letter, before: Letter | None) -> datetime:
    """Say since when there is news: where the one before ended, a week at most."""
    if before is None:
        return letter.made_at - LOOKS_BACK - SETTLES
    return max(before.made_at, letter.made_at - LOOKS_BACK_AT_MOST) - SETTLES


def _stood(letter: Letter) -> str:
    """Say where things stood in the last digest that was sent."""
    said = Letter.objects.filter(
        person=letter.person, kind=letter.kind, outcome=Letter.Outcome.SENT
    )
    last = said.order_by("-pk").values_list("standing", flat=True).first()
    return _nothing() if last is None else last


def _news(letter: Letter, since: datetime) -> tuple[tuple[News, ...], int]:
    """Gather what is new on the jobs its reader sees now; the rest is counted.

    Up to some minutes ago, so that what is written at this moment is neither told
    twice nor left out: the next one begins where this one ends.
    """
    seen = Job.objects.visible_to(letter.person)
    found = Announcement.objects.filter(
        job__in=seen, kind__in=NEWS, at__gt=since, at__lte=letter.made_at - SETTLES
    )
    rows = list(
        found.select_related("job", "building", "person").order_by(
            "job__ship_date", "job__number", "pk"
        )[:LINES_AT_MOST]
    )
    more = found.count() - len(rows) if len(rows) == LINES_AT_MOST else 0
    by_job: dict[int, list[Announcement]] = {}
    for row in rows:
        by_job.setdefault(row.job_id, []).append(row)
    return tuple(News(each[0].job, tuple(each)) for each in by_job.values()), more


def _subject(answer: ShippingAnswer, news: Iterable[News], more: int) -> str:
    lines = [line for each in news for line in each.lines]
    parts = []
    if answer.total:
        parts.append(f"{answer.can_ship} of {answer.total} due this week can ship")
    for kind, (one, many) in NEWS.items():
        count = sum(line.kind == kind for line in lines)
        if count and not more:
            parts.append(f"{count} {one if count == 1 else many}")
    if more:
        parts.append(f"{len(lines) + more} things new")
    text = ", ".join(parts) or "nothing is due this week any more"
    return f"Padstone: {text}"


def _standing(answer: ShippingAnswer) -> str:
    """Digest where things stand; that a day has passed is no change."""
    named = [
        f"{row.building.pk} {row.waits_for}"
        for _, row in (*answer.ready, *answer.stopped)
    ]
    counts = (answer.released, answer.ready_count, answer.stopped_count)
    return _digest(f"{counts} {answer.late_count} {named}")


def _nothing() -> str:
    return _digest(f"{(0, 0, 0)} 0 []")


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()
