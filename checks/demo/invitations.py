"""Who was invited in the demo, and when its people last signed in."""

import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta

from checks.demo import frozen_time
from core.models import Person
from jobs.accounts.invitations import accept_invitation, create_invitation
from jobs.models import Job


def invite_people(people: Mapping[str, Person], midnight: datetime) -> None:
    """Invite two people: one came, one has not answered yet."""
    newest = list(Job.objects.order_by("-number")[:2])
    frozen_time.set_time(midnight + timedelta(days=-12, hours=9))
    taken = create_invitation(
        actor=people["odalys"],
        address="lowri@padstone.example",
        role="field",
        jobs=newest[-1:],
    )
    frozen_time.set_time(midnight + timedelta(days=-11, hours=18))
    accept_invitation(
        invitation=taken,
        username="lowri",
        first_name="Lowri",
        last_name="Sandiford",
        password=secrets.token_urlsafe(24),
    )
    frozen_time.set_time(midnight + timedelta(days=-1, hours=15))
    create_invitation(
        actor=people["odalys"],
        address="casimir@padstone.example",
        role="engineer",
        jobs=newest[:1],
    )


def set_last_sign_ins(people: Mapping[str, Person], midnight: datetime) -> None:
    """Say when each last signed in: some yesterday, some days ago."""
    for place, person in enumerate(people.values()):
        person.last_login = midnight - timedelta(hours=6 + 17 * place)
        person.save(update_fields=["last_login"])
