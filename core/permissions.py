"""May they do it? One table of actions and roles, asked by the services."""

from collections.abc import Iterable
from enum import StrEnum

from django.core.exceptions import PermissionDenied

from core.models import Person, Role


class Action(StrEnum):
    """Everything a person can do to the record."""

    CREATE_JOB = "open a job"
    EDIT_JOB = "change a job"
    MANAGE_PEOPLE = "change who works on a job"
    EDIT_PLAN = "draw or revise a plan"
    RECORD_READING = "record a reading"
    ADD_PHOTOGRAPH = "add a photograph"
    DECIDE = "decide on a finding"
    REQUEST_REMEASUREMENT = "ask for another measurement"
    REPORT_WORK = "report a decision as carried out"
    SIGN_RELEASE = "sign a release"
    VIEW_PEOPLE = "see the people"
    INVITE_PERSON = "invite somebody"
    MANAGE_ACCOUNTS = "change an account"
    VIEW_AUDIT_LOG = "see who saw and did what"
    MANAGE_WEBHOOKS = "have other programs told of it"


ALLOWED_ROLES: dict[Action, frozenset[str]] = {
    Action.CREATE_JOB: frozenset({Role.OPERATIONS}),
    Action.EDIT_JOB: frozenset({Role.OPERATIONS}),
    Action.MANAGE_PEOPLE: frozenset({Role.OPERATIONS}),
    Action.EDIT_PLAN: frozenset({Role.OPERATIONS, Role.ENGINEER}),
    Action.RECORD_READING: frozenset({Role.OPERATIONS, Role.FIELD, Role.ENGINEER}),
    Action.ADD_PHOTOGRAPH: frozenset({Role.OPERATIONS, Role.FIELD, Role.ENGINEER}),
    Action.DECIDE: frozenset({Role.ENGINEER}),
    Action.REQUEST_REMEASUREMENT: frozenset({Role.ENGINEER, Role.OPERATIONS}),
    Action.REPORT_WORK: frozenset({Role.FIELD, Role.OPERATIONS}),
    Action.SIGN_RELEASE: frozenset({Role.OPERATIONS}),
    Action.VIEW_PEOPLE: frozenset({Role.OPERATIONS}),
    Action.INVITE_PERSON: frozenset({Role.OPERATIONS}),
    Action.MANAGE_ACCOUNTS: frozenset({Role.ADMINISTRATOR}),
    Action.VIEW_AUDIT_LOG: frozenset({Role.OPERATIONS}),
    Action.MANAGE_WEBHOOKS: frozenset({Role.OPERATIONS}),
}


# Whom somebody may invite who has one of these roles.
INVITABLE_ROLES: dict[str, tuple[Role, ...]] = {
    Role.OPERATIONS: (Role.FIELD, Role.ENGINEER),
    # The least first: it is what a form offers.
    Role.ADMINISTRATOR: (
        Role.FIELD,
        Role.ENGINEER,
        Role.OPERATIONS,
        Role.ADMINISTRATOR,
    ),
}


def may(action: Action, roles: Iterable[str]) -> bool:
    """Whether any of these roles may do this; an administrator never decides."""
    held = set(roles)
    if Role.ADMINISTRATOR in held and action is not Action.DECIDE:
        return True
    return not held.isdisjoint(ALLOWED_ROLES[action])


def require(actor: Person, action: Action, *, roles: Iterable[str]) -> None:
    """Refuse what these roles do not allow.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        Naming the action and who may do it.
    """
    if actor.is_active and may(action, roles):
        return
    who = " or ".join(sorted(Role(role).label for role in ALLOWED_ROLES[action]))
    where = "" if action is Action.MANAGE_ACCOUNTS else " of this job"
    msg = f"Only the {who}{where} may {action}."
    raise PermissionDenied(msg)
