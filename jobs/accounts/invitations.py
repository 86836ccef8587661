"""Invitations: a link that works once, expires, and can be revoked.

The token of a link is derived from the invitation's key and `SECRET_KEY`. So a worker
can write the e-mail without the token being stored or queued anywhere; the database has
only its SHA-256.
"""

import hashlib
from collections.abc import Iterable
from datetime import timedelta
from enum import StrEnum

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
MAX_TOKEN_LENGTH = 64
USERNAME_TAKEN = "This user name is taken. Choose another."


class EndReason(StrEnum):
    """Why an invitation can no longer be accepted."""

    USED = "used"
    REVOKED = "revoked"
    EXPIRED = "expired"
    INVALID = "invalid"  # the inviter may no longer invite like that


class InvitationEndedError(Exception):
    """An invitation that was used or revoked, has expired or is no longer valid."""

    def __init__(self, reason: EndReason) -> None:
        self.reason = reason
        super().__init__(f"This invitation has ended: {reason}.")


# ---- link -------------------------------------------------------------------


def make_token(invitation: Invitation) -> str:
    """Derive an invitation's token; stable as long as `SECRET_KEY` is."""
    digest = salted_hmac(
        "jobs.accounts.invitation", str(invitation.pk), algorithm="sha256"
    )
    return str(digest.hexdigest())


def build_link(invitation: Invitation, site: str) -> str:
    """Return the link of an invitation on a site such as https://host/."""
    path = reverse("accounts:invitation", args=[make_token(invitation)])
    return f"{site.rstrip('/')}{path}"


def find_invitation(token: str) -> Invitation | None:
    """Find the invitation of a link, open or ended."""
    if len(token) > MAX_TOKEN_LENGTH:
        return None
    found = Invitation.objects.filter(token_hash=_hash_token(token))
    return found.select_related("invited_by").first()


def _hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


# ---- inviting ---------------------------------------------------------------


def list_invitable_jobs(actor: Person) -> QuerySet[Job]:
    """List the jobs a person may invite to."""
    if actor.is_administrator:
        return Job.objects.all()
    managed = Membership.objects.of(actor).filter(role=Role.OPERATIONS)
    return Job.objects.filter(pk__in=managed.values("job"))


def list_invitable_roles(actor: Person) -> tuple[Role, ...]:
    """List the roles a person may invite for. The caller has checked permission."""
    return INVITABLE_ROLES[
        Role.ADMINISTRATOR if actor.is_administrator else Role.OPERATIONS
    ]


@transaction.atomic
def create_invitation(
    *, actor: Person, address: str, role: str, jobs: Iterable[Job] = ()
) -> Invitation:
    """Invite an e-mail address, for a role and to jobs.

    Operations managers invite field leads and engineers to jobs they manage;
    administrators invite anybody to any job, or to none.

    Raises
    ------
    PermissionDenied
        If the actor manages no job, or not all of these.
    ValidationError
        If the actor may not give the role, or the address has an account or an open
        invitation already.
    """
    chosen = list(jobs)
    _require_inviter(actor, chosen)
    _validate_role_and_jobs(actor, role, chosen)
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
    invitation.clean_fields()  # not the constraints: the insert below checks them
    try:
        with transaction.atomic():
            invitation.save(force_insert=True)
    except IntegrityError:
        raise _open_invitation_error() from None
    invitation.jobs.set(chosen)
    return invitation


def _validate_role_and_jobs(actor: Person, role: str, jobs: list[Job]) -> None:
    if role not in list_invitable_roles(actor):
        known = " and ".join(f"{each.label}s" for each in list_invitable_roles(actor))
        msg = f"You may invite {known}. Ask an administrator to invite others."
        raise ValidationError({"role": msg}, code="role")
    if jobs and role not in JOB_ROLES:
        msg = "An administrator sees all jobs: leave this field blank."
        raise ValidationError({"jobs": msg}, code="jobs")
    if not jobs and not actor.is_administrator:
        msg = "Enter at least one of your jobs."
        raise ValidationError({"jobs": msg}, code="jobs")


@transaction.atomic
def revoke_invitation(*, actor: Person, invitation: Invitation) -> None:
    """Revoke an invitation; its link is refused from then on.

    Raises
    ------
    InvitationEndedError
        If it was used or revoked meanwhile.
    """
    found = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if found.invited_by_id != actor.pk:
        require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    if found.accepted_at or found.revoked_at:
        raise InvitationEndedError(EndReason(found.state.value))
    _mark_revoked(actor, Invitation.objects.filter(pk=found.pk))


def revoke_open_invitations(*, actor: Person, inviter: Person) -> int:
    """Revoke the open invitations of a person who may no longer invite like that."""
    rows = Invitation.objects.filter(invited_by=inviter).not_ended()
    return _mark_revoked(actor, rows)


def _mark_revoked(actor: Person, invitations: QuerySet[Invitation]) -> int:
    return invitations.update(revoked_at=now(), revoked_by=actor)


def _require_inviter(actor: Person, jobs: list[Job]) -> None:
    managed = set(list_invitable_jobs(actor).values_list("pk", flat=True))
    # The role on a job counts, not that of the account: a field lead may manage a job.
    roles = {str(actor.role)} if actor.is_administrator else set()
    if managed:
        roles.add(str(Role.OPERATIONS))
    require(actor, Action.INVITE_PERSON, roles=roles)
    if others := [job.number for job in jobs if job.pk not in managed]:
        msg = (
            f"You do not manage {', '.join(others)}. Ask its operations manager to "
            "invite."
        )
        raise PermissionDenied(msg)


def _require_unused_address(actor: Person, address: str) -> None:
    if Person.objects.filter(email__iexact=address).exists():
        msg = (
            "This address already has an account. Add the person on the page of the "
            "job, or ask an administrator."
        )
        raise ValidationError({"address": msg}, code="account")
    before = Invitation.objects.filter(address__iexact=address)
    if before.open().exists():
        raise _open_invitation_error()
    # An expired invitation makes room for the next one and stays in the record as
    # expired. The date is checked again: another may have been made meanwhile.
    _mark_revoked(actor, before.not_ended().filter(expires_at__lte=now()))


def _open_invitation_error() -> ValidationError:
    msg = (
        "This address has an open invitation. If its link was lost, the inviter or an "
        "administrator must revoke it first."
    )
    return ValidationError({"address": msg}, code="invited")


# ---- accepting --------------------------------------------------------------


@transaction.atomic
def accept_invitation(
    *,
    invitation: Invitation,
    username: str,
    first_name: str,
    last_name: str,
    password: str,
) -> Person:
    """Create the invited person's account with its memberships.

    The form has validated the password. Of two requests at once, one is refused.

    Raises
    ------
    InvitationEndedError
        If it has ended, or the inviter may no longer invite like that.
    ValidationError
        If the user name was taken meanwhile.
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
        # A savepoint: the failed insert must not end the whole transaction.
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


def get_end_reason(invitation: Invitation) -> EndReason | None:
    """Return why an invitation can no longer be accepted; None if it can."""
    try:
        _get_valid_jobs(invitation)
    except InvitationEndedError as error:
        return error.reason
    return None


def _get_valid_jobs(invitation: Invitation) -> list[Job]:
    """Return the jobs an invitation leads to: those its inviter still manages."""
    state = invitation.state
    if state is not Invitation.State.OPEN:
        raise InvitationEndedError(EndReason(state.value))
    # Read anew: the cached row may be from before the account was changed.
    inviter = Person.objects.get(pk=invitation.invited_by_id)
    managed = list_invitable_jobs(inviter)
    jobs = list(managed.filter(pk__in=invitation.jobs.values("pk")).order_by("number"))
    if (
        not inviter.is_active
        or not (jobs or inviter.is_administrator)
        or invitation.role not in list_invitable_roles(inviter)
    ):
        raise InvitationEndedError(EndReason.INVALID)
    return jobs


# ---- e-mail -----------------------------------------------------------------


def email_invitation(invitation_id: str, site: str) -> bool:
    """E-mail an invitation if it is still open; True if it was sent."""
    found = Invitation.objects.select_related("invited_by").filter(pk=invitation_id)
    invitation = found.first()
    if invitation is None or get_end_reason(invitation) is not None:
        return False
    if _hash_token(make_token(invitation)) != invitation.token_hash:
        return False  # `SECRET_KEY` was changed since: this link would not work
    inviter = invitation.invited_by
    context = {
        "invitation": invitation,
        "jobs": list(invitation.jobs.order_by("number")),
        "link": build_link(invitation, site),
    }
    message = EmailMessage(
        subject=" ".join(f"{inviter} invites you to Padstone".split()),
        body=render_to_string("jobs/emails/invitation.txt", context),
        to=[invitation.address],
        reply_to=[inviter.email] if inviter.email else None,
    )
    return bool(message.send())
