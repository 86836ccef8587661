"""Batch e-mails: several events of one job in one e-mail a person."""

from collections.abc import Iterable
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.utils.timezone import now

from jobs.models import Membership
from jobs.notifications.models import Email, Event


def batch_events(
    kinds: Iterable[Event.Kind], *, email_kind: Email.Kind, role: str
) -> int:
    """Create one e-mail for each member with a role, on each job with new events.

    A job's events are batched once the oldest is `settings.EMAIL_BATCH_MINUTES` old,
    and each event only once.

    Parameters
    ----------
    kinds : which events.
    email_kind : kind of the e-mails; they carry the subject keys of the events.
    role : role of the recipients on the job.

    Returns
    -------
    int : number of e-mails created.
    """
    wanted = list(kinds)
    waited = now() - timedelta(minutes=settings.EMAIL_BATCH_MINUTES)
    new = Event.objects.filter(batched_at=None, kind__in=wanted, at__lte=waited)
    jobs = new.order_by("job").values_list("job", flat=True).distinct()
    return sum(
        _batch_job_events(job_id, wanted, email_kind, role) for job_id in list(jobs)
    )


@transaction.atomic
def _batch_job_events(
    job_id: int, kinds: list[Event.Kind], email_kind: Email.Kind, role: str
) -> int:
    new = Event.objects.filter(job=job_id, batched_at=None, kind__in=kinds)
    rows = list(new.select_for_update(skip_locked=True).order_by("pk"))
    if not rows:
        return 0  # another worker holds them
    Event.objects.filter(pk__in=[row.pk for row in rows]).update(batched_at=now())
    # Several events may concern one finding; the e-mail lists it once.
    subject_ids = sorted({row.subject_id for row in rows})
    members = Membership.objects.filter(job=job_id, role=role)
    created = Email.objects.bulk_create(
        Email(
            key=f"{email_kind}:{person_id}:{rows[0].uid}",
            kind=email_kind,
            person_id=person_id,
            job_id=job_id,
            subject_ids=subject_ids,
        )
        for person_id in members.values_list("person", flat=True)
    )
    return len(created)
