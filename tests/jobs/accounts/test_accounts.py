"""Accounts: who changes them, what ends with them, and that one administrator stays."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from knox.models import AuthToken

from core.models import AccountEvent, Person, Role
from core.permissions import Action, require
from jobs.accounts.services import (
    change_role,
    close_account,
    record_password_link,
    reopen_account,
    sign_out_everywhere,
)
from jobs.models import Building, Job, MembershipEvent
from jobs.services import set_membership
from tests.jobs.accounts.sign_in_helpers import may_sign_in, open_to, signed_in

pytestmark = pytest.mark.django_db
SERVICES: list[Callable[..., Any]] = [
    lambda **given: change_role(role=Role.FIELD, **given),
    close_account,
    reopen_account,
    sign_out_everywhere,
    record_password_link,
]


# Who


@pytest.mark.parametrize("service", SERVICES)
@pytest.mark.parametrize("who", ["operations", "field_lead", "engineer"])
def test_only_an_administrator_changes_accounts(
    service: Callable[..., Any],
    who: str,
    stranger: Person,
    request: pytest.FixtureRequest,
) -> None:
    with pytest.raises(PermissionDenied, match="Only the administrator may"):
        service(actor=request.getfixturevalue(who), person=stranger)
    stranger.refresh_from_db()
    assert (stranger.role, stranger.is_active) == (Role.OPERATIONS, True)
    assert not AccountEvent.objects.exists()


@pytest.mark.parametrize("service", [*SERVICES[:3], record_password_link])
def test_nobody_changes_their_own_account(
    service: Callable[..., Any], administrator: Person, other: Person
) -> None:
    with pytest.raises(ValidationError, match="your own account"):
        service(actor=administrator, person=administrator)
    administrator.refresh_from_db()
    assert (administrator.role, administrator.is_active) == ("administrator", True)


def test_an_administrator_no_more_changes_nothing(
    administrator: Person, other: Person, field_lead: Person
) -> None:
    as_it_was = Person.objects.get(pk=other.pk)
    change_role(actor=administrator, person=other, role=Role.FIELD)
    with pytest.raises(PermissionDenied, match="no longer an administrator"):
        close_account(actor=as_it_was, person=field_lead)


@pytest.mark.parametrize("service", SERVICES[:2])
def test_two_administrators_ending_each_other_at_once_leave_one(
    service: Callable[..., Any],
    transactional_db: None,
    administrator: Person,
    other: Person,
) -> None:
    together = threading.Barrier(2)
    told: list[object] = []

    def end(actor: Person, person: Person) -> None:
        try:
            together.wait(timeout=30)
            told.append(service(actor=actor, person=person))
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            told.append(error)
        finally:
            connection.close()

    pairs = [(administrator, other), (other, administrator)]
    threads = [threading.Thread(target=end, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(type(each).__name__ for each in told) == [
        "AccountChange",
        "PermissionDenied",
    ]
    left = Person.objects.filter(role=Role.ADMINISTRATOR, is_active=True)
    assert left.count() == 1


# What


def test_a_role_is_changed_and_on_record(
    administrator: Person, field_lead: Person
) -> None:
    change_role(actor=administrator, person=field_lead, role=Role.OPERATIONS)
    field_lead.refresh_from_db()
    assert field_lead.role == Role.OPERATIONS
    event = AccountEvent.objects.get()
    assert (event.person, event.by, event.kind) == (field_lead, administrator, "role")
    assert event.note == "field lead to operations manager"


def test_the_same_role_again_is_no_change(
    administrator: Person, field_lead: Person
) -> None:
    change_role(actor=administrator, person=field_lead, role=Role.FIELD)
    assert not AccountEvent.objects.exists()


def test_there_is_no_role_nobody_knows(
    administrator: Person, field_lead: Person
) -> None:
    with pytest.raises(ValidationError, match="Choose one of these roles"):
        change_role(actor=administrator, person=field_lead, role="owner")


def test_who_is_no_engineer_any_more_decides_nowhere(
    job: Job, administrator: Person, engineer: Person
) -> None:
    changed = change_role(actor=administrator, person=engineer, role=Role.FIELD)
    assert changed.removed_from == (job.number,)
    with pytest.raises(PermissionDenied):
        require(engineer, Action.DECIDE, roles=job.roles_of(engineer))
    event = MembershipEvent.objects.filter(person=engineer).latest("pk")
    assert (event.role, event.by) == ("", administrator)


def test_who_becomes_an_engineer_keeps_other_parts(
    job: Job, administrator: Person, field_lead: Person
) -> None:
    change_role(actor=administrator, person=field_lead, role=Role.ENGINEER)
    assert job.roles_of(field_lead) == {Role.FIELD}


def test_a_closed_account_signs_in_nowhere_and_keeps_its_record(
    job: Job, building: Building, administrator: Person, operations: Person
) -> None:
    desk, phone = signed_in(operations), signed_in(operations)
    AuthToken.objects.create(user=operations)
    changed = close_account(actor=administrator, person=operations)
    assert (changed.ended_sessions, changed.ended_tokens) == (2, 1)
    assert changed.unmanaged_jobs == (job.number,)
    assert not open_to(desk)
    assert not open_to(phone)
    assert not may_sign_in(operations)
    assert not AuthToken.objects.exists()
    assert job.roles_of(operations) == {Role.OPERATIONS}
    assert building.revisions.get().drawn_by == operations


def test_a_job_somebody_else_runs_too_is_not_left_alone(
    job: Job, administrator: Person, operations: Person, stranger: Person
) -> None:
    set_membership(actor=operations, job=job, person=stranger, role=Role.OPERATIONS)
    assert close_account(actor=administrator, person=operations).unmanaged_jobs == ()


def test_an_account_opened_again_signs_in_anew(
    administrator: Person, field_lead: Person
) -> None:
    before = signed_in(field_lead)
    close_account(actor=administrator, person=field_lead)
    reopen_account(actor=administrator, person=field_lead)
    assert may_sign_in(field_lead)
    assert not open_to(before)
    kinds = AccountEvent.objects.order_by("pk").values_list("kind", flat=True)
    assert list(kinds) == ["closed", "reopened"]


def test_signing_somebody_out_ends_all_and_lets_them_in_again(
    administrator: Person, field_lead: Person, engineer: Person
) -> None:
    phone, somebody = signed_in(field_lead), signed_in(engineer)
    AuthToken.objects.create(user=field_lead)
    sign_out_everywhere(actor=administrator, person=field_lead)
    assert not open_to(phone)
    assert open_to(somebody)
    assert may_sign_in(field_lead)
    assert AccountEvent.objects.get().note == "1 session, 1 token"


def test_what_happened_to_an_account_is_never_edited(
    administrator: Person, field_lead: Person
) -> None:
    close_account(actor=administrator, person=field_lead)
    for act in (AccountEvent.objects.all().delete, _rename):
        with pytest.raises(DatabaseError, match="Cannot"), transaction.atomic():
            act()


def _rename() -> None:
    AccountEvent.objects.update(note="otherwise")


# Parts in jobs


def test_every_change_of_a_part_is_on_record(
    job: Job, operations: Person, stranger: Person
) -> None:
    before = MembershipEvent.objects.count()
    assert before == 3  # the job opened with three people
    roles: list[str | None] = [Role.FIELD, Role.FIELD, Role.OPERATIONS, None, None]
    for role in roles:
        set_membership(actor=operations, job=job, person=stranger, role=role)
    events = MembershipEvent.objects.filter(person=stranger).order_by("pk")
    assert [event.role for event in events] == ["field", "operations", ""]
    assert {event.by for event in events} == {operations}
