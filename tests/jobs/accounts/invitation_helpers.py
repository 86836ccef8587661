"""Somebody who is invited, and what they do with the link."""

from datetime import timedelta
from typing import Any

import pgtrigger
from django.urls import reverse

from core.models import Person, Role
from jobs.accounts.invitations import accept_invitation, create_invitation, make_token
from jobs.accounts.models import Invitation
from jobs.models import Job

PASSWORD = "nine anchor rods"
ENTRY = {
    "username": "noor",
    "first_name": "Noor",
    "last_name": "Hollins",
    "password1": PASSWORD,
    "password2": PASSWORD,
}
SITE = "https://padstone.example.org/"


def invited(actor: Person, *jobs: Job, **changed: Any) -> Invitation:
    given = {"address": "noor@example.org", "role": Role.FIELD, **changed}
    return create_invitation(actor=actor, jobs=jobs, **given)


def path(invitation: Invitation) -> str:
    return reverse("accounts:invitation", args=[make_token(invitation)])


def take_up(invitation: Invitation, **changed: str) -> Person:
    given = {
        "username": "noor",
        "first_name": "Noor",
        "last_name": "Hollins",
        "password": PASSWORD,
    }
    return accept_invitation(invitation=invitation, **{**given, **changed})


def expire(invitation: Invitation) -> None:
    """Make it a week older; nothing in the program can."""
    older = timedelta(days=8)
    with pgtrigger.ignore("accounts.Invitation:fixed_fields"):
        Invitation.objects.filter(pk=invitation.pk).update(
            invited_at=invitation.invited_at - older,
            expires_at=invitation.expires_at - older,
        )
    invitation.refresh_from_db()
