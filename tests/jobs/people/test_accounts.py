"""Accounts: who changes them, what ends with them, and that one administrator stays."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client, RequestFactory
from django.urls import reverse
from knox.models import AuthToken

from core.models import AccountEvent, Device, Person, Role
from core.passwords import send_letter
from core.permissions import Action, require
from jobs.models import Building, Job, Membership
from jobs.people.accounts import (
    change_role,
    close_account,
    reopen_account,
    send_new_password,
    sign_out_everywhere,
)
from jobs.people.invitations import invite
from jobs.people.models import MembershipEvent
from jobs.people.queries import people_visible_to
from jobs.services import set_member
from tests import factories
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db
PEOPLE = "/people/"
SERVICES: list[Callable[..., Any]] = [
    lambda **given: change_role(role=Role.FIELD, **given),
    close_account,
    reopen_account,
    sign_out_everywhere,
    send_new_password,
]


@pytest.fixture
def other(db: None) -> Person:
    return factories.person("alder", Role.ADMINISTRATOR)


def signed_in(person: Person) -> Client:
    client = Client()
    client.post(reverse("sign-in"), {"username": person.username, "password": PASSWORD})
    return client


def may_sign_in(person: Person) -> bool:
    request = RequestFactory().post("/sign-in/")
    return bool(authenticate(request, username=person.username, password=PASSWORD))


def open_to(client: Client) -> bool:
    return client.get(reverse("account")).status_code == 200


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


@pytest.mark.parametrize("service", [*SERVICES[:3], send_new_password])
def test_nobody_changes_their_own_account(
    service: Callable[..., Any], administrator: Person, other: Person
) -> None:
    with pytest.raises(ValidationError, match="their own account"):
        service(actor=administrator, person=administrator)
    administrator.refresh_from_db()
    assert (administrator.role, administrator.is_active) == ("administrator", True)


def test_an_administrator_no_more_changes_nothing(
    administrator: Person, other: Person, field_lead: Person
) -> None:
    as_it_was = Person.objects.get(pk=other.pk)
    change_role(actor=administrator, person=other, role=Role.FIELD)
    with pytest.raises(PermissionDenied, match="no administrator any more"):
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
        "Changed",
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
    with pytest.raises(ValidationError, match="There are these roles"):
        change_role(actor=administrator, person=field_lead, role="owner")


def test_who_is_no_engineer_any_more_decides_nowhere(
    job: Job, administrator: Person, engineer: Person
) -> None:
    changed = change_role(actor=administrator, person=engineer, role=Role.FIELD)
    assert changed.taken_off == (job.number,)
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
    assert (changed.sessions, changed.tokens) == (2, 1)
    assert changed.unmanaged == (job.number,)
    assert not open_to(desk)
    assert not open_to(phone)
    assert not may_sign_in(operations)
    assert not AuthToken.objects.exists()
    assert job.roles_of(operations) == {Role.OPERATIONS}
    assert building.revisions.get().drawn_by == operations


def test_a_job_somebody_else_runs_too_is_not_left_alone(
    job: Job, administrator: Person, operations: Person, stranger: Person
) -> None:
    set_member(actor=operations, job=job, person=stranger, role=Role.OPERATIONS)
    assert close_account(actor=administrator, person=operations).unmanaged == ()


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


# A new password


def asked_for_new_password(administrator: Person, person: Person, execute: Any) -> str:
    """Have an administrator send the letter; give its link."""
    client = Client()
    client.force_login(administrator)
    with execute(execute=True):
        page = client.post(
            reverse("people:new_password", args=[person.pk]), follow=True
        ).text
    (letter,) = mail.outbox
    assert letter.to == [person.email]
    (link,) = [line for line in letter.body.splitlines() if "/password/new/" in line]
    assert link not in page
    return link.removeprefix("http://testserver")


def test_a_letter_lets_its_reader_alone_set_a_new_password(
    administrator: Person,
    field_lead: Person,
    django_capture_on_commit_callbacks: Any,
) -> None:
    before = signed_in(field_lead)
    AuthToken.objects.create(user=field_lead)
    link = asked_for_new_password(
        administrator, field_lead, django_capture_on_commit_callbacks
    )
    reader = Client()
    form = reader.get(link, follow=True)
    assert "Choose a new password" in form.text
    new = {"new_password1": "six steel tapes", "new_password2": "six steel tapes"}
    done = reader.post(form.request["PATH_INFO"], new, follow=True)
    assert "Your new password holds." in done.text
    field_lead.refresh_from_db()
    assert field_lead.check_password("six steel tapes")
    assert not open_to(before)
    assert not AuthToken.objects.exists()
    assert "leads nowhere" in Client().get(link, follow=True).text
    kinds = AccountEvent.objects.order_by("pk").values_list("kind", flat=True)
    assert list(kinds) == ["password", "password_set"]


def test_a_closed_account_has_no_link_for_a_new_password(
    administrator: Person,
    field_lead: Person,
    django_capture_on_commit_callbacks: Any,
) -> None:
    link = asked_for_new_password(
        administrator, field_lead, django_capture_on_commit_callbacks
    )
    close_account(actor=administrator, person=field_lead)
    assert "leads nowhere" in Client().get(link, follow=True).text
    assert not send_letter(field_lead.pk, "http://testserver/")
    with pytest.raises(ValidationError, match="open it again first"):
        send_new_password(actor=administrator, person=field_lead)


def test_who_has_no_address_is_sent_no_link(
    administrator: Person, field_lead: Person
) -> None:
    Person.objects.filter(pk=field_lead.pk).update(email="")
    with pytest.raises(ValidationError, match="no e-mail address"):
        send_new_password(actor=administrator, person=field_lead)
    assert not send_letter(field_lead.pk, "http://testserver/")


# Parts in jobs


def test_every_change_of_a_part_is_on_record(
    job: Job, operations: Person, stranger: Person
) -> None:
    before = MembershipEvent.objects.count()
    assert before == 3  # the job opened with three people
    roles: list[str | None] = [Role.FIELD, Role.FIELD, Role.OPERATIONS, None, None]
    for role in roles:
        set_member(actor=operations, job=job, person=stranger, role=role)
    events = MembershipEvent.objects.filter(person=stranger).order_by("pk")
    assert [event.role for event in events] == ["field", "operations", ""]
    assert {event.by for event in events} == {operations}


# The pages


def test_an_administrator_sees_everybody(
    client: Client, job: Job, administrator: Person, stranger: Person
) -> None:
    client.force_login(administrator)
    page = client.get(PEOPLE).text
    for name in ("Olive", "Fern", "Emery", "Addie", "Sorrel"):
        assert name in page
    assert page.count(f">{job.number}</a>") == 3


def test_who_runs_a_job_sees_its_people_and_no_other_jobs_of_theirs(
    client: Client,
    job: Job,
    operations: Person,
    field_lead: Person,
    stranger: Person,
) -> None:
    elsewhere = factories.job(stranger, field_lead=field_lead)
    client.force_login(operations)
    page = client.get(PEOPLE).text
    assert "Fern" in page
    assert "Sorrel" not in page
    assert job.number in page
    assert elsewhere.number not in page
    seen = client.get(reverse("people:person", args=[field_lead.pk])).text
    assert elsewhere.number not in seen
    assert "Change the account" not in seen
    assert set(people_visible_to(operations)) == {
        each.person for each in Membership.objects.filter(job=job)
    }


def test_who_runs_a_job_as_a_part_sees_its_people_too(
    client: Client, job: Job, operations: Person, field_lead: Person
) -> None:
    set_member(actor=operations, job=job, person=field_lead, role=Role.OPERATIONS)
    client.force_login(field_lead)
    assert client.get(PEOPLE).status_code == 200


@pytest.mark.parametrize(
    ("who", "there"),
    [
        ("operations", True),
        ("administrator", True),
        ("field_lead", False),
        ("engineer", False),
    ],
)
def test_people_is_in_the_navigation_of_those_it_is_for(
    client: Client, who: str, there: bool, request: pytest.FixtureRequest
) -> None:
    client.force_login(request.getfixturevalue(who))
    assert ('href="/people/"' in client.get("/").text) is there


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("text=fern", ["Fern"]),
        ("text=olive%40example", ["Olive"]),
        ("role=engineer", ["Emery"]),
        ("closed=on", ["Sorrel"]),
        ("role=nothing", ["Addie", "Emery", "Fern", "Olive"]),
    ],
)
def test_people_are_found_by_name_role_and_account(
    client: Client,
    job: Job,
    administrator: Person,
    stranger: Person,
    asked: str,
    found: list[str],
) -> None:
    close_account(actor=administrator, person=stranger)
    client.force_login(administrator)
    context = client.get(f"{PEOPLE}?{asked}").context
    assert sorted(row.person.first_name for row in context["rows"]) == found


def test_the_list_asks_as_often_for_many_people_with_many_jobs(
    client: Client, job: Job, administrator: Person, django_assert_num_queries: Any
) -> None:
    client.force_login(administrator)
    for count in (1, 7):
        for number in range(count):
            lead = factories.person(f"lead{count}{number}", Role.FIELD)
            jobs = [factories.job(administrator, field_lead=lead) for _ in range(3)]
            address = f"x{count}{number}@example.org"
            invite(actor=administrator, address=address, role="field", jobs=jobs)
        with django_assert_num_queries(9):
            client.get(PEOPLE)


def test_a_person_on_many_jobs_has_the_newest_named_and_the_rest_counted(
    client: Client, administrator: Person, operations: Person
) -> None:
    for number in range(6):
        factories.job(operations, number=f"Q-{number}")
    client.force_login(administrator)
    page = client.get(PEOPLE).text
    assert "Q-5" in page
    assert "Q-1<" not in page
    assert "and 2 more" in page


def test_the_page_of_a_person_changes_the_role(
    client: Client, job: Job, administrator: Person, engineer: Person
) -> None:
    client.force_login(administrator)
    address = reverse("people:change_role", args=[engineer.pk])
    page = client.post(address, {"role": "operations"}, follow=True).text
    assert "Emery is operations manager now." in page
    assert f"taken off: {job.number}." in page
    assert client.post(address, {"role": "owner"}).status_code == 400


def test_the_page_says_what_a_closed_account_leaves_behind(
    client: Client, job: Job, administrator: Person, operations: Person
) -> None:
    invite(actor=operations, address="x@example.org", role="field", jobs=[job])
    client.force_login(administrator)
    address = reverse("people:close", args=[operations.pk])
    page = client.post(address, follow=True).text
    assert "The account of Olive is closed." in page
    assert f"Nobody runs these jobs now: {job.number}." in page
    assert "Open invitations of theirs are revoked." in page


def test_ones_own_page_changes_nothing(
    client: Client, administrator: Person, other: Person
) -> None:
    client.force_login(administrator)
    page = client.get(reverse("people:person", args=[administrator.pk])).text
    assert "Change the account" not in page
    address = reverse("people:close", args=[administrator.pk])
    assert "their own account" in client.post(address, follow=True).text
    assert open_to(client)


def test_the_page_of_a_person_asks_as_often_for_a_long_history(
    client: Client,
    job: Job,
    administrator: Person,
    field_lead: Person,
    django_assert_num_queries: Any,
) -> None:
    client.force_login(administrator)
    address = reverse("people:person", args=[field_lead.pk])
    for _ in range(2):
        with django_assert_num_queries(8):
            client.get(address)
        for _ in range(4):
            close_account(actor=administrator, person=field_lead)
            reopen_account(actor=administrator, person=field_lead)
        signed_in(field_lead)
        factories.job(administrator, field_lead=field_lead)
    assert Device.objects.of(field_lead).count() == 2
