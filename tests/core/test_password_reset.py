"""Whoever forgot a password asks for a link, and learns nothing about others."""

import re
from typing import Any

import pytest
from django.core import mail
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from core.models import AccountEvent, Person, RateCounter, Role
from jobs.models import Job
from tests import factories

pytestmark = pytest.mark.django_db
URL = "/password/forgotten/"
NEW = {"new_password1": "six steel tapes", "new_password2": "six steel tapes"}
Ask = Any


@pytest.fixture
def ask(django_capture_on_commit_callbacks: Any) -> Ask:
    """Ask for a link, as a visitor, and have the letters sent."""

    def asked(address: str, client: Client | None = None, **more: Any) -> Any:
        client = client or Client()
        with django_capture_on_commit_callbacks(execute=True):
            return client.post(URL, {"address": address}, follow=True, **more)

    return asked


def without_token(page: str) -> str:
    """Leave out of a page what each form has of its own against forgery."""
    return re.sub(r'"[A-Za-z0-9]{64}"', "", page)


def link_in(letter: Any) -> str:
    (link,) = [line for line in letter.body.splitlines() if "/password/new/" in line]
    return str(link)


def test_the_sign_in_page_leads_there(client: Client) -> None:
    assert f'href="{URL}"' in client.get(reverse("sign-in")).text
    assert "E-mail address" in client.get(URL).text


def test_the_link_lets_its_reader_set_a_new_password_once(
    ask: Ask, field_lead: Person, settings: Any
) -> None:
    ask(field_lead.email.upper())
    (letter,) = mail.outbox
    assert letter.to == [field_lead.email]
    assert field_lead.username in letter.body
    address = link_in(letter).removeprefix(settings.PUBLIC_URL)
    reader = Client()
    form = reader.get(address, follow=True)
    reader.post(form.request["PATH_INFO"], NEW)
    field_lead.refresh_from_db()
    assert field_lead.check_password("six steel tapes")
    again = Client().get(address, follow=True).text
    assert "has expired" in again
    assert f'href="{URL}"' in again


def test_the_answer_is_the_same_whether_or_not_the_address_is_known(
    ask: Ask, field_lead: Person, engineer: Person
) -> None:
    Person.objects.filter(pk=engineer.pk).update(is_active=False)
    known, unknown, closed = (
        ask(address)
        for address in (field_lead.email, "nobody@example.org", engineer.email)
    )
    assert "If this address has an account" in known.text
    for other in (unknown, closed):
        assert other.redirect_chain == known.redirect_chain
        assert without_token(other.text) == without_token(known.text)
    assert [letter.to for letter in mail.outbox] == [[field_lead.email]]


def test_as_much_is_asked_of_the_database_before_either_answer(
    field_lead: Person, django_assert_num_queries: Any
) -> None:
    for address in (field_lead.email, "nobody@example.org"):
        with django_assert_num_queries(2):
            Client().post(URL, {"address": address})


def test_each_account_of_an_address_gets_its_own_link(
    ask: Ask, field_lead: Person
) -> None:
    other = factories.person("farrow", Role.FIELD)
    Person.objects.filter(pk=other.pk).update(email=field_lead.email)
    ask(field_lead.email)
    assert len(mail.outbox) == 2
    assert len({link_in(letter) for letter in mail.outbox}) == 2


def test_an_account_without_an_address_is_never_written_to(
    ask: Ask, field_lead: Person
) -> None:
    Person.objects.filter(pk=field_lead.pk).update(email="")
    assert ask("").status_code == 400
    assert ask("no address").status_code == 400
    assert mail.outbox == []
    assert not AccountEvent.objects.exists()


def test_the_link_leads_to_the_house_whatever_the_visitor_called_it(
    ask: Ask, field_lead: Person, settings: Any
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    ask(field_lead.email, headers={"host": "elsewhere.example.org"})
    assert link_in(mail.outbox[0]).startswith(f"{settings.PUBLIC_URL}/password/new/")


@pytest.mark.parametrize("address", ["fern@example.org", "nobody@example.org"])
def test_an_address_is_written_to_three_times_an_hour(
    ask: Ask, field_lead: Person, address: str
) -> None:
    Person.objects.filter(pk=field_lead.pk).update(email="fern@example.org")
    assert [ask(address).status_code for _ in range(4)] == [200, 200, 200, 429]
    refused = ask(address.upper())
    assert refused.status_code == 429
    assert 0 < int(refused["Retry-After"]) <= 3600
    assert "Too many requests" in refused.text
    assert len(mail.outbox) == (3 if address == "fern@example.org" else 0)


def test_one_place_asks_thirty_times_an_hour(ask: Ask) -> None:
    answers = [ask(f"{number}@example.org").status_code for number in range(31)]
    assert answers == [200] * 30 + [429]
    elsewhere = ask("a@example.org", REMOTE_ADDR="192.0.2.7")
    assert elsewhere.status_code == 200
    assert "example.org" not in f"{list(RateCounter.objects.values())}"


def test_asking_and_setting_are_on_record(ask: Ask, field_lead: Person) -> None:
    ask(field_lead.email)
    reader = Client()
    form = reader.get(link_in(mail.outbox[0]), follow=True)
    reader.post(form.request["PATH_INFO"], NEW)
    told = AccountEvent.objects.filter(person=field_lead).order_by("pk")
    assert [(event.kind, event.by) for event in told] == [
        ("forgotten", None),
        ("password_set", field_lead),
    ]


def test_the_record_says_that_nobody_was_signed_in(
    ask: Ask, job: Job, field_lead: Person, administrator: Person
) -> None:
    ask(field_lead.email)
    client = Client()
    client.force_login(administrator)
    trail = client.get(reverse("trail", args=[job.pk])).text
    assert f"{field_lead}: password link requested" in trail
    assert "Visitor, not signed in" in trail
    person = client.get(reverse("accounts:person", args=[field_lead.pk])).text
    assert "a visitor" in person


def test_only_who_forgot_a_password_may_be_on_record_as_nobody(
    field_lead: Person, administrator: Person
) -> None:
    for kind, by in (("closed", None), ("forgotten", administrator)):
        with pytest.raises(IntegrityError, match="signed_in"), transaction.atomic():
            AccountEvent.objects.create(person=field_lead, kind=kind, by=by)
