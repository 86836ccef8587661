"""Permissions: one table of actions and roles, checked by the services."""

from collections.abc import Iterable
from enum import StrEnum

from django.core.exceptions import PermissionDenied

from core.models import Person, Role


class Action(StrEnum):
    """Everything that a person can do, as a refusal names it."""

    CREATE_JOB = "create a job"
    EDIT_JOB = "edit a job"
    MANAGE_PEOPLE = "change the people of a job"
    EDIT_PLAN = "draw or revise a plan"
    SET_STEEL_STATE = "record how far the steel is"
    RECORD_READING = "record a reading"
    ADD_PHOTOGRAPH = "add a photograph"
    DECIDE = "decide on a finding"
    REQUEST_REMEASUREMENT = "request another measurement"
    REPORT_WORK = "report work as done"
    SIGN_RELEASE = "sign a release"
    VIEW_PEOPLE = "see the people"
    INVITE_PERSON = "invite people"
    MANAGE_ACCOUNTS = "change an account"
    VIEW_AUDIT_LOG = "see the activity log"
    MANAGE_WEBHOOKS = "manage webhooks"
    REEVALUATE = "evaluate many buildings again"


ALLOWED_ROLES: dict[Action, frozenset[str]] = {
    Action.CREATE_JOB: frozenset({Role.OPERATIONS}),
    Action.EDIT_JOB: frozenset({Role.OPERATIONS}),
    Action.MANAGE_PEOPLE: frozenset({Role.OPERATIONS}),
    Action.EDIT_PLAN: frozenset({Role.OPERATIONS, Role.ENGINEER}),
    Action.SET_STEEL_STATE: frozenset({Role.OPERATIONS}),
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
    Action.REEVALUATE: frozenset({Role.OPERATIONS}),
}


# Roles that a person with one of these roles may invite.
INVITABLE_ROLES: dict[str, tuple[Role, ...]] = {
    Role.OPERATIONS: (Role.FIELD, Role.ENGINEER),
    # The role with the fewest rights comes first: a form preselects it.
    Role.ADMINISTRATOR: (
        Role.FIELD,
        Role.ENGINEER,
        Role.OPERATIONS,
        Role.ADMINISTRATOR,
    ),
}


# A signature answers for the job, and an administrator only runs the site.
RESERVED_ACTIONS = frozenset({Action.DECIDE, Action.SIGN_RELEASE})
# The role of the account decides, not that of a membership.
SITE_ACTIONS = frozenset({Action.MANAGE_ACCOUNTS, Action.REEVALUATE})


def may(action: Action, roles: Iterable[str]) -> bool:
    """Return whether any of these roles may do this.

    Administrators may do everything but decide on findings and sign releases.
    """
    held = set(roles)
    if Role.ADMINISTRATOR in held and action not in RESERVED_ACTIONS:
        return True
    return not held.isdisjoint(ALLOWED_ROLES[action])


class ActionDeniedError(PermissionDenied):
    """A refusal of the permission table; `action` is what was refused."""

    def __init__(self, message: str, action: Action) -> None:
        self.action = action
        super().__init__(message)


def require(actor: Person, action: Action, *, roles: Iterable[str]) -> None:
    """Refuse an action that these roles do not allow.

    Raises
    ------
    ActionDeniedError
        Names the action and who may do it.
    """
    if actor.is_active and may(action, roles):
        return
    who = " or ".join(sorted(Role(role).label for role in ALLOWED_ROLES[action]))
    where = "" if action in SITE_ACTIONS else " of this job"
    msg = f"Only the {who}{where} may {action}."
    raise ActionDeniedError(msg, action)
