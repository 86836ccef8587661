"""The trail of a job, as it is read in tests."""

from django.test import Client

from checks.queries.trail import page_of, people_in
from checks.queries.trail_sources import TrailFilter
from checks.queries.trail_words import TrailRow, told
from core.models import Person
from jobs.models import Job

ALL = TrailFilter()


def signed_in(person: Person, **headers: str) -> Client:
    client = Client(headers=headers)
    client.force_login(person)
    return client


def rows_of(job: Job, asked: TrailFilter = ALL) -> list[TrailRow]:
    entries = page_of(job, asked, None).entries
    return told(
        entries,
        job=job,
        people=people_in(entries),
        buildings={building.pk: building for building in job.buildings.all()},
    )


def words_of(job: Job, asked: TrailFilter = ALL) -> list[tuple[str, str]]:
    """Give who and what, the oldest first."""
    return [(row.who, row.words) for row in reversed(rows_of(job, asked))]
