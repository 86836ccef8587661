"""May they do it? One table of actions and roles, asked by the services."""

from collections.abc import Iterable
from enum import StrEnum

from django.core.exceptions import PermissionDenied

from core.models import Person, Role


class Action(StrEnum):
    """Everything a person can do to the record."""

    OPEN_JOB = "open a job"
    EDIT_JOB = "change a job"
    MANAGE_PEOPLE = "change who works on a job"
    DRAW_PLAN = "draw or revise a plan"
    RECORD_READING = "record a reading"
    DECIDE = "decide on a finding"
    ASK_AGAIN = "ask for another measurement"
    CARRY_OUT = "report a decision as carried out"
    SIGN_RELEASE = "sign a release"


ALLOWED: dict[Action, frozenset[str]] = {
    Action.OPEN_JOB: frozenset({Role.OPERATIONS}),
    Action.EDIT_JOB: frozenset({Role.OPERATIONS}),
    Action.MANAGE_PEOPLE: frozenset({Role.OPERATIONS}),
    Action.DRAW_PLAN: frozenset({Role.OPERATIONS, Role.ENGINEER}),
    Action.RECORD_READING: frozenset({Role.OPERATIONS, Role.FIELD, Role.ENGINEER}),
    Action.DECIDE: frozenset({Role.ENGINEER}),
    Action.ASK_AGAIN: frozenset({Role.ENGINEER, Role.OPERATIONS}),
    Action.CARRY_OUT: frozenset({Role.FIELD, Role.OPERATIONS}),
    Action.SIGN_RELEASE: frozenset({Role.OPERATIONS}),
}


def may(action: Action, roles: Iterable[str]) -> bool:
    """Whether any of these roles may do this; an administrator never decides."""
    held = set(roles)
    if Role.ADMINISTRATOR in held and action is not Action.DECIDE:
        return True
    return not held.isdisjoint(ALLOWED[action])


def require(actor: Person, action: Action, *, roles: Iterable[str]) -> None:
    """Refuse what these roles do not allow.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        Naming the action and who may do it.
    """
    if actor.is_active and may(action, roles):
        return
    who = " or ".join(sorted(Role(role).label for role in ALLOWED[action]))
    msg = f"Only the {who} of this job may {action}."
    raise PermissionDenied(msg)
