"""A letter from an administrator lets its reader alone set a new password."""

from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from knox.models import AuthToken

from core.models import AccountEvent, Person
from core.passwords import send_password_email
from jobs.accounts.services import close_account, record_password_link
from tests.jobs.accounts.sign_in_helpers import open_to, signed_in

pytestmark = pytest.mark.django_db


def asked_for_new_password(administrator: Person, person: Person, execute: Any) -> str:
    """Have an administrator send the letter; give its link."""
    client = Client()
    client.force_login(administrator)
    with execute(execute=True):
        page = client.post(
            reverse("accounts:new_password", args=[person.pk]), follow=True
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
    assert "Password set. Sign in with it." in done.text
    field_lead.refresh_from_db()
    assert field_lead.check_password("six steel tapes")
    assert not open_to(before)
    assert not AuthToken.objects.exists()
    assert "has expired" in Client().get(link, follow=True).text
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
    assert "has expired" in Client().get(link, follow=True).text
    assert not send_password_email(field_lead.pk, "http://testserver/")
    with pytest.raises(ValidationError, match="Reopen it first"):
        record_password_link(actor=administrator, person=field_lead)


def test_who_has_no_address_is_sent_no_link(
    administrator: Person, field_lead: Person
) -> None:
    Person.objects.filter(pk=field_lead.pk).update(email="")
    with pytest.raises(ValidationError, match="no e-mail address"):
        record_password_link(actor=administrator, person=field_lead)
    assert not send_password_email(field_lead.pk, "http://testserver/")
