"""Permissions: one table for every action."""

import pytest
from django.core.exceptions import PermissionDenied

from core.models import Person, Role
from core.permissions import ALLOWED_ROLES, Action, may, require


def test_every_action_has_somebody_who_may() -> None:
    assert set(ALLOWED_ROLES) == set(Action)
    assert all(ALLOWED_ROLES.values())


@pytest.mark.parametrize("role", [role for role in Role if role != Role.OPERATIONS])
def test_only_the_operations_manager_signs_releases(role: Role) -> None:
    assert not may(Action.SIGN_RELEASE, {role})
    assert may(Action.SIGN_RELEASE, {Role.OPERATIONS})
    assert may(Action.SIGN_RELEASE, {Role.ADMINISTRATOR, Role.OPERATIONS})


@pytest.mark.parametrize("role", [role for role in Role if role != Role.ENGINEER])
def test_only_the_engineer_decides(role: Role) -> None:
    assert not may(Action.DECIDE, {role})
    assert may(Action.DECIDE, {Role.ENGINEER})


def test_an_administrator_does_everything_else() -> None:
    others = set(Action) - {Action.DECIDE, Action.SIGN_RELEASE}
    assert all(may(action, {Role.ADMINISTRATOR}) for action in others)


@pytest.mark.parametrize("action", Action)
def test_a_stranger_may_do_nothing(action: Action) -> None:
    assert not may(action, frozenset())


def test_a_refusal_names_the_action_and_who_may() -> None:
    with pytest.raises(PermissionDenied, match="Only the engineer of this job may"):
        require(Person(role=Role.FIELD), Action.DECIDE, roles={Role.FIELD})


def test_a_closed_account_may_do_nothing() -> None:
    person = Person(role=Role.ENGINEER, is_active=False)
    with pytest.raises(PermissionDenied):
        require(person, Action.DECIDE, roles={Role.ENGINEER})
