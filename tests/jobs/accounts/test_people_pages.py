"""The pages of the people: who sees whom, and what can be changed there."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from core.models import Device, Person, Role
from jobs.accounts.invitations import create_invitation
from jobs.accounts.queries import filter_visible_people
from jobs.accounts.services import close_account, reopen_account
from jobs.models import Job, Membership
from jobs.services import set_membership
from tests import factories
from tests.jobs.accounts.sign_in_helpers import open_to, signed_in

pytestmark = pytest.mark.django_db
PEOPLE = "/people/"


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
    seen = client.get(reverse("accounts:person", args=[field_lead.pk])).text
    assert elsewhere.number not in seen
    assert "Edit account" not in seen
    assert set(filter_visible_people(operations)) == {
        each.person for each in Membership.objects.filter(job=job)
    }


def test_who_runs_a_job_as_a_part_sees_its_people_too(
    client: Client, job: Job, operations: Person, field_lead: Person
) -> None:
    set_membership(actor=operations, job=job, person=field_lead, role=Role.OPERATIONS)
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
            create_invitation(
                actor=administrator, address=address, role="field", jobs=jobs
            )
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
    address = reverse("accounts:change_role", args=[engineer.pk])
    page = client.post(address, {"role": "operations"}, follow=True).text
    assert "Emery is now operations manager." in page
    assert f"removed from: {job.number}." in page
    assert client.post(address, {"role": "owner"}).status_code == 400


def test_the_page_says_what_a_closed_account_leaves_behind(
    client: Client, job: Job, administrator: Person, operations: Person
) -> None:
    create_invitation(
        actor=operations, address="x@example.org", role="field", jobs=[job]
    )
    client.force_login(administrator)
    address = reverse("accounts:close", args=[operations.pk])
    page = client.post(address, follow=True).text
    assert "Account of Olive closed." in page
    assert f"no active operations manager now: {job.number}." in page
    assert "Their open invitations were revoked." in page


def test_ones_own_page_changes_nothing(
    client: Client, administrator: Person, other: Person
) -> None:
    client.force_login(administrator)
    page = client.get(reverse("accounts:person", args=[administrator.pk])).text
    assert "Edit account" not in page
    address = reverse("accounts:close", args=[administrator.pk])
    assert "your own account" in client.post(address, follow=True).text
    assert open_to(client)


def test_the_page_of_a_person_asks_as_often_for_a_long_history(
    client: Client,
    job: Job,
    administrator: Person,
    field_lead: Person,
    django_assert_num_queries: Any,
) -> None:
    client.force_login(administrator)
    address = reverse("accounts:person", args=[field_lead.pk])
    for _ in range(2):
        with django_assert_num_queries(8):
            client.get(address)
        for _ in range(4):
            close_account(actor=administrator, person=field_lead)
            reopen_account(actor=administrator, person=field_lead)
        signed_in(field_lead)
        factories.job(administrator, field_lead=field_lead)
    assert Device.objects.of(field_lead).count() == 2
