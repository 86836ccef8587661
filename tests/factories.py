"""People, jobs and buildings for tests, made through the program's own services."""

import itertools
from collections.abc import Mapping
from typing import Any

from core.models import Person, Role
from jobs.models import Building, Job

PASSWORD = "plumb and level"
_numbers = itertools.count(1)


def person(username: str, role: Role, **fields: Any) -> Person:
    """Make an account; `PASSWORD` signs it in."""
    return Person.objects.create_user(
        username,
        f"{username}@example.org",
        PASSWORD,
        role=role,
        first_name=username.title(),
        **fields,
    )


def job(
    operations: Person,
    *,
    field_lead: Person | None = None,
    engineer: Person | None = None,
    **fields: Any,
) -> Job:
    """Open a job with these people on it."""
    from jobs import services

    number = next(_numbers)
    others = [(field_lead, Role.FIELD), (engineer, Role.ENGINEER)]
    values = {
        "number": f"J-{number}",
        "name": f"Job {number}",
        "customer": "A customer",
        "site": "A site",
        **fields,
    }
    return services.create_job(
        actor=operations,
        people=[(who, role) for who, role in others if who is not None],
        **values,
    )


def building(job: Job, actor: Person, document: Mapping[str, Any]) -> Building:
    """Add a building to a job."""
    from jobs import services

    return services.add_building(actor=actor, job=job, document=dict(document))
