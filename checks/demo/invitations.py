"""Invitations and last sign-ins of the demo."""

import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta

from checks.demo import frozen_time
from checks.demo.accounts import ACCEPTED_INVITATION, OPEN_INVITATION
from core.models import Person
from jobs.accounts.invitations import accept_invitation, create_invitation
from jobs.models import Job


def invite_people(people: Mapping[str, Person], midnight: datetime) -> None:
    """Invite two people, one of whom has accepted."""
    newest = list(Job.objects.order_by("-number")[:2])
    frozen_time.set_time(midnight + timedelta(days=-12, hours=9))
    invitation = create_invitation(
        actor=people["odalys"],
        address=ACCEPTED_INVITATION.address,
        role=ACCEPTED_INVITATION.role,
        jobs=newest[-1:],
    )
    frozen_time.set_time(midnight + timedelta(days=-11, hours=18))
    accept_invitation(
        invitation=invitation,
        username=ACCEPTED_INVITATION.username,
        first_name=ACCEPTED_INVITATION.first_name,
        last_name=ACCEPTED_INVITATION.last_name,
        password=secrets.token_urlsafe(24),
    )
    frozen_time.set_time(midnight + timedelta(days=-1, hours=15))
    create_invitation(
        actor=people["odalys"],
        address=OPEN_INVITATION.address,
        role=OPEN_INVITATION.role,
        jobs=newest[:1],
    )


def set_last_sign_ins(people: Mapping[str, Person], midnight: datetime) -> None:
    """Set the last sign-ins: some yesterday, some days ago."""
    # Spread over days, so that the list of people does not look generated.
    for place, person in enumerate(people.values()):
        person.last_login = midnight - timedelta(hours=6 + 17 * place)
        person.save(update_fields=["last_login"])
