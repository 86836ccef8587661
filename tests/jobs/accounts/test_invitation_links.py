"""Links of invitations: their secrecy and their end."""

from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from core.models import AccountEvent, Device, Person, Role
from jobs.accounts.invitations import (
    build_link,
    email_invitation,
    make_token,
    revoke_invitation,
)
from jobs.accounts.models import Invitation
from jobs.models import Job
from tests import factories
from tests.jobs.accounts.invitation_helpers import (
    ENTRY,
    PASSWORD,
    SITE,
    invited,
    path,
    take_up,
)

pytestmark = pytest.mark.django_db


def test_the_database_holds_no_token(administrator: Person) -> None:
    made = invited(administrator)
    stored = str(Invitation.objects.filter(pk=made.pk).values().get())
    assert make_token(made) not in stored
    assert made.token_hash in stored


def test_the_page_shows_the_link_once_and_a_letter_carries_it(
    client: Client,
    job: Job,
    operations: Person,
    django_capture_on_commit_callbacks: Any,
) -> None:
    client.force_login(operations)
    sent = {"address": "noor@example.org", "role": "field", "jobs": job.number}
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("accounts:invite"), sent)
    link = build_link(Invitation.objects.get(), "http://testserver/")
    assert link in answer.text
    assert "no-store" in answer.headers["Cache-Control"]
    (letter,) = mail.outbox
    assert letter.to == ["noor@example.org"]
    assert letter.reply_to == ["olive@example.org"]
    assert link in letter.body
    assert str(job) in letter.body
    page = client.get(reverse("accounts:list")).text
    assert "noor@example.org" in page
    assert make_token(Invitation.objects.get()) not in page


def test_a_mail_server_that_is_down_costs_the_letter_alone(
    client: Client,
    administrator: Person,
    settings: Any,
    django_capture_on_commit_callbacks: Any,
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    client.force_login(administrator)
    sent = {"address": "noor@example.org", "role": "field", "jobs": ""}
    with django_capture_on_commit_callbacks(execute=True) as queued:
        answer = client.post(reverse("accounts:invite"), sent)
    assert len(queued) == 1
    assert build_link(Invitation.objects.get(), "http://testserver/") in answer.text


def test_an_invitation_that_was_not_made_sends_no_letter(
    client: Client,
    job: Job,
    operations: Person,
    django_capture_on_commit_callbacks: Any,
) -> None:
    client.force_login(operations)
    sent = {"address": "noor@example.org", "role": "field", "jobs": "J-none"}
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("accounts:invite"), sent)
    assert answer.status_code == 400
    assert "You have no job with this number: J-none." in answer.text
    assert mail.outbox == []


def test_no_letter_goes_out_for_what_was_revoked_meanwhile(
    administrator: Person,
) -> None:
    made = invited(administrator)
    revoke_invitation(actor=administrator, invitation=made)
    assert not email_invitation(str(made.pk), SITE)
    assert mail.outbox == []


def test_a_letter_with_a_link_that_leads_nowhere_is_not_sent(
    administrator: Person, settings: Any
) -> None:
    made = invited(administrator)
    settings.SECRET_KEY = "another house's key"
    assert not email_invitation(str(made.pk), SITE)


def test_a_link_makes_the_account_and_signs_in(
    client: Client, job: Job, operations: Person
) -> None:
    made = invited(operations, job)
    page = client.get(path(made))
    assert "Olive invites noor@example.org as field lead" in page.text
    answer = client.post(path(made), ENTRY)
    assert answer.headers["Location"] == "/"
    person = Person.objects.get(username="noor")
    assert person.check_password(PASSWORD)
    assert (person.email, person.role) == ("noor@example.org", Role.FIELD)
    assert client.session["_auth_user_id"] == str(person.pk)
    assert not person.is_staff
    assert not person.is_superuser
    assert Device.objects.of(person).count() == 1
    made.refresh_from_db()
    assert (made.state, made.accepted_by) == ("used", person)
    event = AccountEvent.objects.get(person=person)
    assert (event.kind, event.note) == ("joined", "field lead, invited by Olive")


def test_looking_at_a_link_does_not_use_it(
    client: Client, administrator: Person
) -> None:
    made = invited(administrator)
    for _ in range(2):
        assert client.get(path(made)).status_code == 200
    assert Invitation.objects.get().state == "open"


def test_a_form_cannot_ask_for_more_than_it_was_invited_to(
    client: Client, administrator: Person
) -> None:
    more = {"role": "administrator", "is_superuser": "on", "email": "x@example.org"}
    client.post(path(invited(administrator)), {**ENTRY, **more})
    person = Person.objects.get(username="noor")
    assert (person.role, person.is_superuser) == (Role.FIELD, False)
    assert person.email == "noor@example.org"


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"password1": "short", "password2": "short"}, "too short"),
        ({"password1": "1234567890", "password2": "1234567890"}, "too common"),
        ({"password1": "noor-hollins", "password2": "noor-hollins"}, "too similar"),
        ({"password2": "another one"}, "two password fields didn"),
        ({"username": "Olive"}, "This user name is taken"),
        ({"username": "a b"}, "valid username"),
        ({"first_name": ""}, "required"),
    ],
)
def test_what_makes_no_account_says_why_and_leaves_the_link_alone(
    client: Client,
    job: Job,
    operations: Person,
    changed: dict[str, str],
    words: str,
) -> None:
    made = invited(operations, job)
    answer = client.post(path(made), {**ENTRY, **changed})
    assert answer.status_code == 400
    assert words in answer.text
    assert PASSWORD not in answer.text
    made.refresh_from_db()
    assert made.state == "open"


def test_a_user_name_taken_meanwhile_leaves_the_link_alone(
    administrator: Person,
) -> None:
    made = invited(administrator)
    factories.person("noor", Role.FIELD)
    with pytest.raises(ValidationError, match="Choose another"):
        take_up(made)
    assert take_up(made, username="noor2").username == "noor2"


def test_who_is_signed_in_makes_no_second_account(
    client: Client, administrator: Person, engineer: Person
) -> None:
    made = invited(administrator)
    client.force_login(engineer)
    for answer in (client.get(path(made)), client.post(path(made), ENTRY)):
        assert "you are signed in as Emery" in answer.text
    assert not Person.objects.filter(username="noor").exists()
