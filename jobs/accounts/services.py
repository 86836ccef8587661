"""Changing accounts: roles, closing and opening again, ending every sign-in.

Accounts are never deleted: what their people recorded, decided and signed stands.
Only an administrator changes one, and never their own, so one always remains.
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
    """What a change of an account brought with it.

    Attributes
    ----------
    taken_off : job numbers the person was the engineer of, and is not any more.
    unmanaged : job numbers that nobody with an open account runs now.
    revoked : how many of their open invitations were revoked.
    sessions, tokens : how many were ended.
    """

    removed_from: tuple[str, ...] = ()
    unmanaged_jobs: tuple[str, ...] = ()
    revoked_invitations: int = 0
    ended_sessions: int = 0
    ended_tokens: int = 0


@transaction.atomic
def change_role(*, actor: Person, person: Person, role: str) -> AccountChange:
    """Give an account another role.

    Parts as engineer end with the role of one. Open invitations of theirs are
    revoked, for they were made with the rights of the old role.

    Raises
    ------
    PermissionDenied
        If the actor is no administrator, or not any more.
    ValidationError
        If it is their own account, or no such role.
    """
    person = _lock_account(actor, person)
    if role not in Role.values:
        known = ", ".join(str(each.label) for each in Role)
        raise ValidationError({"role": f"There are these roles: {known}."})
    before = Role(person.role)
    if before == role:
        return AccountChange()
    taken: list[Membership] = []
    if before == Role.ENGINEER:
        parts = Membership.objects.of(person).filter(role=Role.ENGINEER)
        taken = remove_memberships(actor=actor, memberships=parts)
    person.role = Role(role)
    person.save(update_fields=["role"])
    _record_event(
        actor, person, AccountEventKind.ROLE, f"{before.label} to {Role(role).label}"
    )
    return AccountChange(
        removed_from=tuple(part.job.number for part in taken),
        revoked_invitations=revoke_open_invitations(actor=actor, inviter=person),
    )


@transaction.atomic
def close_account(*, actor: Person, person: Person) -> AccountChange:
    """Let somebody sign in no more; what they did stays, and so do their parts.

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
    """Let somebody sign in again, with the password they had.

    Raises
    ------
    PermissionDenied, ValidationError
        As `change_role`.
    """
    person = _lock_account(actor, person)
    if person.is_active:
        return
    end_all_access(person)  # none that outlived the closing comes back to life
    person.is_active = True
    person.save(update_fields=["is_active"])
    _record_event(actor, person, AccountEventKind.REOPENED)


@transaction.atomic
def sign_out_everywhere(*, actor: Person, person: Person) -> AccountChange:
    """End every session and token of somebody; they may sign in again.

    Raises
    ------
    PermissionDenied
        If the actor is no administrator.
    """
    require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    sessions, tokens = end_all_access(person)
    words = f"{_count_text(sessions, 'session')}, {_count_text(tokens, 'token')}"
    _record_event(actor, person, AccountEventKind.SIGNED_OUT, words)
    return AccountChange(ended_sessions=sessions, ended_tokens=tokens)


@transaction.atomic
def record_password_link(*, actor: Person, person: Person) -> None:
    """Note that somebody is sent a link to set a new password; the caller sends it.

    The link goes to them alone: nobody else, not an administrator either, can set
    the password under which they sign.

    Raises
    ------
    PermissionDenied
        If the actor is no administrator, or not any more.
    ValidationError
        If it is their own account, it is closed, or it has no e-mail address.
    """
    person = _lock_account(actor, person)
    if not person.is_active:
        raise ValidationError("This account is closed: open it again first.")
    if not person.email:
        raise ValidationError(f"{person} has no e-mail address to write to.")
    _record_event(actor, person, AccountEventKind.PASSWORD)


def _lock_account(actor: Person, person: Person) -> Person:
    """Hold the account, and every administrator's with it.

    Two administrators who close each other's accounts at once follow each other, so
    that the second finds what the first did: whoever acts is an administrator still,
    and remains one.
    """
    require(actor, Action.MANAGE_ACCOUNTS, roles={actor.role})
    if actor.pk == person.pk:
        msg = "Nobody changes their own account: another administrator does."
        raise ValidationError(msg, code="own")
    runs = Q(role=Role.ADMINISTRATOR, is_active=True)
    held = Person.objects.select_for_update(no_key=True).filter(Q(pk=person.pk) | runs)
    found = {each.pk: each for each in held.order_by("pk")}
    if actor.pk not in found:
        msg = "Your account was changed meanwhile: you are no administrator any more."
        raise PermissionDenied(msg)
    return found[person.pk]


def _list_unmanaged_jobs(person: Person) -> tuple[str, ...]:
    """Numbers of the jobs that only this person ran."""
    runs = Membership.objects.filter(role=Role.OPERATIONS)
    theirs = runs.filter(person=person).values("job")
    others = runs.filter(job__in=theirs, person__is_active=True).values("job")
    left = runs.filter(person=person).exclude(job__in=others)
    return tuple(left.order_by("job__number").values_list("job__number", flat=True))


def _record_event(
    actor: Person, person: Person, kind: AccountEventKind, note: str = ""
) -> None:
    AccountEvent.objects.create(person=person, kind=kind, by=actor, note=note)


def _count_text(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
