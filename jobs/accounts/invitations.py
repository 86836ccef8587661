"""Inviting people: a link that serves once, ends by itself, and can be revoked.

The link's token is made from the invitation's key and the house's secret key, so that
the letter can be written outside the request without the token being stored anywhere;
of the token itself the database has the SHA-256 alone.
"""

import hashlib
from collections.abc import Iterable
from datetime import timedelta

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.crypto import salted_hmac
from django.utils.timezone import now

from core.models import AccountEvent, Person, Role
from core.permissions import INVITABLE_ROLES, Action, require
from jobs.accounts.models import Invitation
from jobs.models import Job, Membership
from jobs.services import JOB_ROLES, assign_role

INVITATION_LIFETIME = timedelta(days=7)
MAX_TOKEN_LENGTH = 64  # characters
USERNAME_TAKEN = "Somebody here has this user name: choose another."


class InvitationEndedError(Exception):
    """An invitation was used, revoked or has expired; the text says so to people."""

    def __init__(self, invitation: Invitation) -> None:
        self.invitation = invitation
        super().__init__(f"This invitation is {invitation.state.label} already.")


# ---- the link ---------------------------------------------------------------


def make_token(invitation: Invitation) -> str:
    """Make an invitation's token; the same one for as long as the secret key."""
    made = salted_hmac(
        "jobs.accounts.invitation", str(invitation.pk), algorithm="sha256"
    )
    return str(made.hexdigest())


def build_link(invitation: Invitation, site: str) -> str:
    """Give the link that takes up an invitation, on a site such as https://host/."""
    path = reverse("accounts:invitation", args=[make_token(invitation)])
    return f"{site.rstrip('/')}{path}"


def find_invitation(token: str) -> Invitation | None:
    """Find the invitation of a link, whether it still stands or not."""
    if len(token) > MAX_TOKEN_LENGTH:
        return None
    found = Invitation.objects.filter(token_hash=_hash_token(token))
    return found.select_related("invited_by").first()


def _hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


# ---- inviting ---------------------------------------------------------------


def list_invitable_jobs(actor: Person) -> QuerySet[Job]:
    """Jobs onto which a person may invite somebody."""
    if actor.is_administrator:
        return Job.objects.all()
    run = Membership.objects.of(actor).filter(role=Role.OPERATIONS)
    return Job.objects.filter(pk__in=run.values("job"))


def list_invitable_roles(actor: Person) -> tuple[Role, ...]:
    """Roles a person may invite somebody for; the caller asked whether they may."""
    return INVITABLE_ROLES[
        Role.ADMINISTRATOR if actor.is_administrator else Role.OPERATIONS
    ]


@transaction.atomic
def create_invitation(
    *, actor: Person, address: str, role: str, jobs: Iterable[Job] = ()
) -> Invitation:
    """Invite somebody by e-mail address, for a role and onto jobs.

    An operations manager invites field leads and engineers onto jobs they run; an
    administrator anybody onto any job, or onto none.

    Raises
    ------
    PermissionDenied
        If the actor runs no job, or not all of these.
    ValidationError
        If the role is not theirs to give, or the address has an account or an open
        invitation already.
    """
    chosen = list(jobs)
    _require_inviter(actor, chosen)
    if role not in list_invitable_roles(actor):
        known = " and ".join(f"{each.label}s" for each in list_invitable_roles(actor))
        msg = f"You invite {known}; an administrator invites others."
        raise ValidationError({"role": msg}, code="role")
    if chosen and role not in JOB_ROLES:
        msg = "An administrator sees every job: leave the jobs out."
        raise ValidationError({"jobs": msg}, code="jobs")
    if not chosen and not actor.is_administrator:
        msg = "Name at least one of your jobs."
        raise ValidationError({"jobs": msg}, code="jobs")
    address = address.strip()
    _require_unused_address(actor, address)
    invitation = Invitation(
        address=address,
        role=role,
        invited_by=actor,
        invited_at=now(),
        expires_at=now() + INVITATION_LIFETIME,
    )
    invitation.token_hash = _hash_token(make_token(invitation))
    invitation.clean_fields()
    try:
        with transaction.atomic():
            invitation.save(force_insert=True)
    except IntegrityError:
        raise _open_invitation_error() from None
    invitation.jobs.set(chosen)
    return invitation


@transaction.atomic
def revoke_invitation(*, actor: Person, invitation: Invitation) -> None:
    """Take an invitation back; its link is refused from then on.

    Raises
    ------
    InvitationEndedError
        If it was used or revoked meanwhile.
    """
    found = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if found.invited_by_id != actor.pk:
        require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    if found.accepted_at or found.revoked_at:
        raise InvitationEndedError(found)
    _mark_revoked(actor, Invitation.objects.filter(pk=found.pk))


def revoke_open_invitations(*, actor: Person, inviter: Person) -> int:
    """Take back what somebody has open who may not invite like that any more."""
    return _mark_revoked(
        actor, Invitation.objects.filter(invited_by=inviter).not_ended()
    )


def _mark_revoked(actor: Person, invitations: QuerySet[Invitation]) -> int:
    return invitations.update(revoked_at=now(), revoked_by=actor)


def _require_inviter(actor: Person, jobs: list[Job]) -> None:
    run = set(list_invitable_jobs(actor).values_list("pk", flat=True))
    roles = {str(actor.role)} if actor.is_administrator else set()
    require(
        actor,
        Action.INVITE_PERSON,
        roles=roles | ({str(Role.OPERATIONS)} if run else set()),
    )
    if strange := [job.number for job in jobs if job.pk not in run]:
        msg = f"You do not run {', '.join(strange)}: its operations manager invites."
        raise PermissionDenied(msg)


def _require_unused_address(actor: Person, address: str) -> None:
    if Person.objects.filter(email__iexact=address).exists():
        msg = (
            "Somebody with this address has an account here: put them on the job from "
            "its page, or ask an administrator."
        )
        raise ValidationError({"address": msg}, code="account")
    before = Invitation.objects.filter(address__iexact=address)
    if before.open().exists():
        raise _open_invitation_error()
    # One that expired makes room for the next, and stays on record as expired; not
    # one that somebody made since the line above.
    _mark_revoked(actor, before.not_ended().filter(expires_at__lte=now()))


def _open_invitation_error() -> ValidationError:
    msg = (
        "This address has an open invitation. Whoever made it, or an administrator, "
        "revokes it first if the link was lost."
    )
    return ValidationError({"address": msg}, code="invited")


# ---- taking it up -----------------------------------------------------------


@transaction.atomic
def accept_invitation(
    *,
    invitation: Invitation,
    username: str,
    first_name: str,
    last_name: str,
    password: str,
) -> Person:
    """Make the account somebody was invited to, with its parts in jobs.

    The password was validated by the form. Of two at once, one is refused.

    Raises
    ------
    InvitationEndedError
        If it was used, revoked or expired, or whoever made it may not any more.
    ValidationError
        If somebody took the user name meanwhile.
    """
    found = Invitation.objects.select_for_update().get(pk=invitation.pk)
    jobs = _get_valid_jobs(found)
    person = Person(
        username=username,
        first_name=first_name,
        last_name=last_name,
        email=found.address,
        role=found.role,
        date_joined=now(),
    )
    person.set_password(password)
    try:
        with transaction.atomic():
            person.save(force_insert=True)
    except IntegrityError:
        raise ValidationError({"username": USERNAME_TAKEN}, code="unique") from None
    for job in jobs:
        assign_role(actor=found.invited_by, job=job, person=person, role=found.role)
    found.accepted_at, found.accepted_by = now(), person
    found.save(update_fields=["accepted_at", "accepted_by"])
    AccountEvent.objects.create(
        person=person,
        kind=AccountEvent.Kind.JOINED,
        by=person,
        note=f"{found.get_role_display()}, invited by {found.invited_by}"[:200],
    )
    return person


def get_end_reason(invitation: Invitation) -> str:
    """Say why an invitation cannot be taken up; empty if it can."""
    try:
        _get_valid_jobs(invitation)
    except InvitationEndedError:
        state = invitation.state
        if state is Invitation.State.OPEN:
            return "withdrawn"
        return str(state.label)
    return ""


def _get_valid_jobs(invitation: Invitation) -> list[Job]:
    """Give the jobs it still leads onto: those its maker still runs."""
    maker = Person.objects.get(pk=invitation.invited_by_id)
    if invitation.state is not Invitation.State.OPEN or not maker.is_active:
        raise InvitationEndedError(invitation)
    still = (
        list_invitable_jobs(maker)
        .filter(pk__in=invitation.jobs.values("pk"))
        .order_by("number")
    )
    jobs = list(still)
    if not jobs and not maker.is_administrator:
        raise InvitationEndedError(invitation)
    if invitation.role not in list_invitable_roles(maker):
        raise InvitationEndedError(invitation)
    return jobs


# ---- the letter -------------------------------------------------------------


def email_invitation(invitation_id: str, site: str) -> bool:
    """Write to who was invited, if it still stands; give whether it was sent."""
    found = Invitation.objects.select_related("invited_by").filter(pk=invitation_id)
    invitation = found.first()
    if invitation is None or get_end_reason(invitation):
        return False
    if _hash_token(make_token(invitation)) != invitation.token_hash:
        return False  # made with another secret key: this link would lead nowhere
    maker = invitation.invited_by
    context = {
        "invitation": invitation,
        "jobs": list(invitation.jobs.order_by("number")),
        "link": build_link(invitation, site),
    }
    letter = EmailMessage(
        subject=" ".join(f"{maker} invites you to Padstone".split()),
        body=render_to_string("jobs/emails/invitation.txt", context),
        to=[invitation.address],
        reply_to=[maker.email] if maker.email else None,
    )
    return bool(letter.send())
