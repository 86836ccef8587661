"""Several announcements gathered into one letter for each person and job."""

from collections.abc import Iterable
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.utils.timezone import now

from jobs.models import Membership
from jobs.notifications.models import Announcement, Letter


def batch_events(
    kinds: Iterable[Announcement.Kind], *, email_kind: Letter.Kind, role: str
) -> int:
    """Let one letter be due to everybody with a part in a job where something is new.

    A job's announcements are gathered once the oldest has waited for
    `settings.GATHER_MINUTES`, all of them, each only ever once.

    Parameters
    ----------
    kinds : which announcements.
    letter : the kind of letter, which names what they are about.
    role : whose part in the job it is for.

    Returns
    -------
    int : how many letters are due that were not.
    """
    waited = now() - timedelta(minutes=settings.GATHER_MINUTES)
    new = Announcement.objects.filter(gathered_at=None, kind__in=list(kinds))
    jobs = new.filter(at__lte=waited).order_by("job").values_list("job", flat=True)
    return sum(
        _batch_job_events(job_id, list(kinds), email_kind, role)
        for job_id in list(jobs.distinct())
    )


@transaction.atomic
def _batch_job_events(
    job_id: int, kinds: list[Announcement.Kind], email_kind: Letter.Kind, role: str
) -> int:
    new = Announcement.objects.filter(job=job_id, gathered_at=None, kind__in=kinds)
    rows = list(new.select_for_update(skip_locked=True).order_by("pk"))
    if not rows:
        return 0  # another worker has them
    Announcement.objects.filter(pk__in=[row.pk for row in rows]).update(
        gathered_at=now()
    )
    about = sorted({row.about_id for row in rows})
    members = Membership.objects.filter(job=job_id, role=role)
    made = Letter.objects.bulk_create(
        Letter(
            key=f"{email_kind}:{person}:{rows[0].uid}",
            kind=email_kind,
            person_id=person,
            job_id=job_id,
            about=about,
        )
        for person in members.values_list("person", flat=True)
    )
    return len(made)
