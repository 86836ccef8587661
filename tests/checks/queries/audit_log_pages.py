"""The trail of a job, as it is read in tests."""

from django.test import Client

from checks.queries.audit_log.query import load_page, load_people
from checks.queries.audit_log.rows import AuditLogFilter
from checks.queries.audit_log.text import AuditLogRow, describe_entries
from core.models import Person
from jobs.models import Job

ALL = AuditLogFilter()


def signed_in(person: Person, **headers: str) -> Client:
    client = Client(headers=headers)
    client.force_login(person)
    return client


def rows_of(job: Job, asked: AuditLogFilter = ALL) -> list[AuditLogRow]:
    entries = load_page(job, asked, None).entries
    return describe_entries(
        entries,
        job=job,
        people=load_people(entries),
        buildings={building.pk: building for building in job.buildings.all()},
    )


def words_of(job: Job, asked: AuditLogFilter = ALL) -> list[tuple[str, str]]:
    """Return who and what, the oldest first."""
    return [(row.actor_name, row.text) for row in reversed(rows_of(job, asked))]
