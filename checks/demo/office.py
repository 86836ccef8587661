"""Who was invited in the demo, and when its people last signed in."""

import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta

from checks.demo import clock
from core.models import Person
from jobs.models import Job
from jobs.people.invitations import accept, invite


def invite_people(people: Mapping[str, Person], midnight: datetime) -> None:
    """Invite two people: one came, one has not answered yet."""
    newest = list(Job.objects.order_by("-number")[:2])
    clock.tell(midnight + timedelta(days=-12, hours=9))
    taken = invite(
        actor=people["odalys"],
        address="lowri@padstone.example",
        role="field",
        jobs=newest[-1:],
    )
    clock.tell(midnight + timedelta(days=-11, hours=18))
    accept(
        invitation=taken,
        username="lowri",
        first_name="Lowri",
        last_name="Sandiford",
        password=secrets.token_urlsafe(24),
    )
    clock.tell(midnight + timedelta(days=-1, hours=15))
    invite(
        actor=people["odalys"],
        address="casimir@padstone.example",
        role="engineer",
        jobs=newest[:1],
    )


def sign_in_times(people: Mapping[str, Person], midnight: datetime) -> None:
    """Say when each last signed in: some yesterday, some days ago."""
    for place, person in enumerate(people.values()):
        person.last_login = midnight - timedelta(hours=6 + 17 * place)
        person.save(update_fields=["last_login"])
