"""Changes to accounts: role, closing, reopening, ending all sessions.

Accounts are never deleted, because the record refers to them. Only an administrator
changes an account, and never their own, so that one administrator always remains.
"""

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Q

from core.devices import end_all_access
from core.models import AccountEvent, Person, Role
from core.permissions import Action, require
from jobs.accounts.invitations import revoke_open_invitations
from jobs.models import Membership
from jobs.services import remove_memberships

AccountEventKind = AccountEvent.Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class AccountChange:
    """Consequences of a change to an account.

    Attributes
    ----------
    removed_from : numbers of the jobs where the person is no longer the engineer.
    unmanaged_jobs : numbers of the jobs left without an active operations manager.
    revoked_invitations : number of their open invitations that were revoked.
    ended_sessions, ended_tokens : numbers of sessions and tokens that were ended.
    """

    removed_from: tuple[str, ...] = ()
    unmanaged_jobs: tuple[str, ...] = ()
    revoked_invitations: int = 0
    ended_sessions: int = 0
    ended_tokens: int = 0


@transaction.atomic
def change_role(*, actor: Person, person: Person, role: str) -> AccountChange:
    """Change the role of an account.

    Memberships as engineer end with the engineer's role. Open invitations by the person
    are revoked, because they rest on the rights of the old role.

    Raises
    ------
    PermissionDenied
        If the actor is not an administrator (any more).
    ValidationError
        If it is their own account, or the role is unknown.
    """
    person = _lock_account(actor, person)
    if role not in Role.values:
        known = ", ".join(str(each.label) for each in Role)
        raise ValidationError({"role": f"Choose one of these roles: {known}."})
    before = Role(person.role)
    if before == role:
        return AccountChange()  # nothing to record
    removed: list[Membership] = []
    if before == Role.ENGINEER:
        memberships = Membership.objects.of(person).filter(role=Role.ENGINEER)
        removed = remove_memberships(actor=actor, memberships=memberships)
    person.role = Role(role)
    person.save(update_fields=["role"])
    _record_event(
        actor, person, AccountEventKind.ROLE, f"{before.label} to {Role(role).label}"
    )
    return AccountChange(
        removed_from=tuple(each.job.number for each in removed),
        revoked_invitations=revoke_open_invitations(actor=actor, inviter=person),
    )


@transaction.atomic
def close_account(*, actor: Person, person: Person) -> AccountChange:
    """Close an account: no more sign-in; record and memberships stay.

    Raises
    ------
    PermissionDenied, ValidationError
        As `change_role`.
    """
    person = _lock_account(actor, person)
    if not person.is_active:
        return AccountChange()
    person.is_active = False
    person.save(update_fields=["is_active"])
    # Memberships stay: who worked on a job is part of the record.
    sessions, tokens = end_all_access(person)
    _record_event(actor, person, AccountEventKind.CLOSED)
    return AccountChange(
        unmanaged_jobs=_list_unmanaged_jobs(person),
        revoked_invitations=revoke_open_invitations(actor=actor, inviter=person),
        ended_sessions=sessions,
        ended_tokens=tokens,
    )


@transaction.atomic
def reopen_account(*, actor: Person, person: Person) -> None:
    """Reopen an account, with the password it had.

    Raises
    ------
    PermissionDenied, ValidationError
        As `change_role`.
    """
    person = _lock_account(actor, person)
    if person.is_active:
        return
    end_all_access(person)  # a session that survived the closing must not revive
    person.is_active = True
    person.save(update_fields=["is_active"])
    _record_event(actor, person, AccountEventKind.REOPENED)


@transaction.atomic
def sign_out_everywhere(*, actor: Person, person: Person) -> AccountChange:
    """End all sessions and tokens of a person, who may sign in again.

    Raises
    ------
    PermissionDenied
        If the actor is not an administrator.
    """
    require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    sessions, tokens = end_all_access(person)
    note = f"{_count_text(sessions, 'session')}, {_count_text(tokens, 'token')}"
    _record_event(actor, person, AccountEventKind.SIGNED_OUT, note)
    return AccountChange(ended_sessions=sessions, ended_tokens=tokens)


@transaction.atomic
def record_password_link(*, actor: Person, person: Person) -> None:
    """Record that a person is sent a password link; the caller sends it.

    The link goes to the person alone. Nobody else may set the password they sign with,
    not even an administrator.

    Raises
    ------
    PermissionDenied
        If the actor is not an administrator (any more).
    ValidationError
        If it is their own account, it is closed, or it has no e-mail address.
    """
    person = _lock_account(actor, person)
    if not person.is_active:
        raise ValidationError("This account is closed. Reopen it first.")
    if not person.email:
        raise ValidationError(f"{person} has no e-mail address.")
    _record_event(actor, person, AccountEventKind.PASSWORD)


def _lock_account(actor: Person, person: Person) -> Person:
    """Lock the account together with all administrators' accounts.

    Two administrators who close each other's account at once then run one after the
    other, and the second is refused: an administrator always remains.
    """
    require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    if actor.pk == person.pk:
        msg = "You cannot change your own account. Ask another administrator."
        raise ValidationError(msg, code="own")
    administrators = Q(role=Role.ADMINISTRATOR, is_active=True)
    rows = Person.objects.select_for_update(no_key=True)
    rows = rows.filter(Q(pk=person.pk) | administrators)
    locked = {each.pk: each for each in rows.order_by("pk")}
    if actor.pk not in locked:
        msg = "Your account was changed meanwhile: you are no longer an administrator."
        raise PermissionDenied(msg)
    return locked[person.pk]


def _list_unmanaged_jobs(person: Person) -> tuple[str, ...]:
    """List the numbers of jobs that only this person managed."""
    managers = Membership.objects.filter(role=Role.OPERATIONS)
    theirs = managers.filter(person=person)
    others = managers.filter(job__in=theirs.values("job"), person__is_active=True)
    left = theirs.exclude(job__in=others.values("job"))
    return tuple(left.order_by("job__number").values_list("job__number", flat=True))


def _record_event(
    actor: Person, person: Person, kind: AccountEventKind, note: str = ""
) -> None:
    AccountEvent.objects.create(person=person, kind=kind, by=actor, note=note)


def _count_text(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
