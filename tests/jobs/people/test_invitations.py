"""Invitations: who may make them, what their link is worth, and how they end."""

import io
import logging
import threading
from datetime import timedelta
from typing import Any

import pgtrigger
import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from core.models import AccountEvent, Device, Person, Role
from jobs.models import Job
from jobs.people.accounts import change_role, close_account
from jobs.people.invitations import (
    InvitationEndedError,
    accept,
    invite,
    link_of,
    revoke,
    send_letter,
    token_of,
)
from jobs.people.models import Invitation, MembershipEvent
from jobs.services import set_member
from tests import factories

pytestmark = pytest.mark.django_db
PASSWORD = "nine anchor rods"
ENTRY = {
    "username": "noor",
    "first_name": "Noor",
    "last_name": "Hollins",
    "password1": PASSWORD,
    "password2": PASSWORD,
}
SITE = "https://padstone.example.org/"


def invited(actor: Person, *jobs: Job, **changed: Any) -> Invitation:
    given = {"address": "noor@example.org", "role": Role.FIELD, **changed}
    return invite(actor=actor, jobs=jobs, **given)


def path(invitation: Invitation) -> str:
    return reverse("people:invitation", args=[token_of(invitation)])


def take_up(invitation: Invitation, **changed: str) -> Person:
    given = {
        "username": "noor",
        "first_name": "Noor",
        "last_name": "Hollins",
        "password": PASSWORD,
    }
    return accept(invitation=invitation, **{**given, **changed})


def expire(invitation: Invitation) -> None:
    """Make it a week older; nothing in the program can."""
    older = timedelta(days=8)
    with pgtrigger.ignore("jobs.Invitation:as_it_was_made"):
        Invitation.objects.filter(pk=invitation.pk).update(
            invited_at=invitation.invited_at - older,
            expires_at=invitation.expires_at - older,
        )
    invitation.refresh_from_db()


# Who may invite whom


@pytest.mark.parametrize("role", [Role.FIELD, Role.ENGINEER])
def test_who_runs_a_job_invites_its_field_leads_and_engineers(
    job: Job, operations: Person, role: Role
) -> None:
    person = take_up(invited(operations, job, role=role))
    assert person.role == role
    assert job.roles_of(person) == {role}
    event = MembershipEvent.objects.get(person=person)
    assert (event.job, event.role, event.by) == (job, role, operations)


@pytest.mark.parametrize("role", [Role.OPERATIONS, Role.ADMINISTRATOR])
def test_who_runs_a_job_invites_nobody_else(
    job: Job, operations: Person, role: Role
) -> None:
    with pytest.raises(ValidationError, match="an administrator invites others"):
        invited(operations, job, role=role)


@pytest.mark.parametrize("who", ["field_lead", "engineer", "stranger"])
def test_who_runs_no_job_invites_nobody(
    job: Job, who: str, request: pytest.FixtureRequest
) -> None:
    with pytest.raises(PermissionDenied):
        invited(request.getfixturevalue(who), job)


def test_nobody_invites_onto_a_job_they_do_not_run(job: Job, stranger: Person) -> None:
    factories.job(stranger)
    with pytest.raises(PermissionDenied, match=job.number):
        invited(stranger, job)


def test_who_runs_a_job_names_one(job: Job, operations: Person) -> None:
    with pytest.raises(ValidationError, match="at least one of your jobs"):
        invited(operations)


@pytest.mark.parametrize("role", Role)
def test_an_administrator_invites_anybody_onto_nothing(
    administrator: Person, role: Role
) -> None:
    assert take_up(invited(administrator, role=role)).role == role


def test_an_administrator_has_no_part_in_a_job(job: Job, administrator: Person) -> None:
    with pytest.raises(ValidationError, match="sees every job"):
        invited(administrator, job, role=Role.ADMINISTRATOR)


def test_a_closed_account_invites_nobody(job: Job, operations: Person) -> None:
    operations.is_active = False
    with pytest.raises(PermissionDenied):
        invited(operations, job)


@pytest.mark.parametrize("address", ["fern@example.org", "FERN@Example.org"])
def test_who_has_an_account_is_not_invited(
    administrator: Person, field_lead: Person, address: str
) -> None:
    with pytest.raises(ValidationError, match="has an account here"):
        invited(administrator, address=address)


@pytest.mark.parametrize("address", ["noor@example.org", "Noor@Example.ORG"])
def test_an_address_has_one_open_invitation(
    administrator: Person, address: str
) -> None:
    invited(administrator)
    with pytest.raises(ValidationError, match="has an open invitation"):
        invited(administrator, address=address)


def test_after_one_that_expired_or_was_revoked_there_is_another(
    administrator: Person,
) -> None:
    first = invited(administrator)
    expire(first)
    second = invited(administrator)
    revoke(actor=administrator, invitation=second)
    third = invited(administrator)
    states = {each.pk: each.state for each in Invitation.objects.all()}
    assert states == {first.pk: "expired", second.pk: "revoked", third.pk: "open"}


@pytest.mark.parametrize("address", ["", "noor", "a b@example.org"])
def test_what_is_no_address_is_refused(administrator: Person, address: str) -> None:
    with pytest.raises(ValidationError):
        invited(administrator, address=address)


# What the link is worth


def test_the_database_holds_no_token(administrator: Person) -> None:
    made = invited(administrator)
    stored = str(Invitation.objects.filter(pk=made.pk).values().get())
    assert token_of(made) not in stored
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
        answer = client.post(reverse("people:invite"), sent)
    link = link_of(Invitation.objects.get(), "http://testserver/")
    assert link in answer.text
    assert "no-store" in answer.headers["Cache-Control"]
    (letter,) = mail.outbox
    assert letter.to == ["noor@example.org"]
    assert letter.reply_to == ["olive@example.org"]
    assert link in letter.body
    assert str(job) in letter.body
    page = client.get(reverse("people:list")).text
    assert "noor@example.org" in page
    assert token_of(Invitation.objects.get()) not in page


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
        answer = client.post(reverse("people:invite"), sent)
    assert len(queued) == 1
    assert link_of(Invitation.objects.get(), "http://testserver/") in answer.text


def test_an_invitation_that_was_not_made_sends_no_letter(
    client: Client,
    job: Job,
    operations: Person,
    django_capture_on_commit_callbacks: Any,
) -> None:
    client.force_login(operations)
    sent = {"address": "noor@example.org", "role": "field", "jobs": "J-none"}
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("people:invite"), sent)
    assert answer.status_code == 400
    assert "None of your jobs has this number: J-none." in answer.text
    assert mail.outbox == []


def test_no_letter_goes_out_for_what_was_revoked_meanwhile(
    administrator: Person,
) -> None:
    made = invited(administrator)
    revoke(actor=administrator, invitation=made)
    assert not send_letter(str(made.pk), SITE)
    assert mail.outbox == []


def test_a_letter_with_a_link_that_leads_nowhere_is_not_sent(
    administrator: Person, settings: Any
) -> None:
    made = invited(administrator)
    settings.SECRET_KEY = "another house's key"
    assert not send_letter(str(made.pk), SITE)


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
        ({"username": "Olive"}, "Somebody here has this user name"),
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
    with pytest.raises(ValidationError, match="choose another"):
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


# How it ends


def test_a_used_link_says_so_and_whom_to_tell(
    client: Client, administrator: Person
) -> None:
    made = invited(administrator)
    take_up(made)
    for answer in (client.get(path(made)), client.post(path(made), ENTRY)):
        assert answer.status_code == 410
        assert "was used already" in answer.text
        assert "Addie" in answer.text


def test_an_expired_link_says_so_and_whom_to_ask(
    client: Client, administrator: Person
) -> None:
    made = invited(administrator)
    expire(made)
    for answer in (client.get(path(made)), client.post(path(made), ENTRY)):
        assert answer.status_code == 410
        assert "has expired" in answer.text
        assert "Ask Addie for another" in answer.text
    assert not Person.objects.filter(username="noor").exists()


def test_a_revoked_link_says_so_and_whom_to_ask(
    client: Client, administrator: Person
) -> None:
    made = invited(administrator)
    revoke(actor=administrator, invitation=made)
    for answer in (client.get(path(made)), client.post(path(made), ENTRY)):
        assert answer.status_code == 410
        assert "was revoked" in answer.text
        assert "Ask Addie" in answer.text


@pytest.mark.parametrize("token", ["x", "0" * 64, "0" * 65, "%00", "é"])
def test_a_link_nobody_made_tells_nothing(
    client: Client, administrator: Person, token: str
) -> None:
    invited(administrator)
    answer = client.get(f"/invitations/{token}/")
    assert answer.status_code == 404
    assert "There is no such invitation" in answer.text
    assert "noor" not in answer.text
    assert "Addie" not in answer.text


def test_two_taking_it_up_at_once_make_one_account(
    transactional_db: None, administrator: Person
) -> None:
    made = invited(administrator)
    together = threading.Barrier(2)
    told: list[object] = []

    def join(username: str) -> None:
        try:
            together.wait(timeout=30)
            told.append(take_up(made, username=username))
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            told.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=join, args=[name]) for name in ("ann", "bob")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kinds = sorted(type(each).__name__ for each in told)
    assert kinds == ["InvitationEndedError", "Person"]
    assert Person.objects.filter(email="noor@example.org").count() == 1


def test_two_inviting_one_address_at_once_make_one_invitation(
    transactional_db: None, administrator: Person
) -> None:
    together = threading.Barrier(2)
    told: list[object] = []

    def ask() -> None:
        try:
            together.wait(timeout=30)
            told.append(invited(administrator))
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            told.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kinds = sorted(type(each).__name__ for each in told)
    assert kinds == ["Invitation", "ValidationError"]


def test_somebody_elses_invitation_is_not_there_to_revoke(
    client: Client, job: Job, operations: Person, stranger: Person
) -> None:
    made = invited(operations, job)
    factories.job(stranger)
    client.force_login(stranger)
    address = reverse("people:revoke", args=[made.pk])
    assert client.post(address).status_code == 404
    with pytest.raises(PermissionDenied):
        revoke(actor=stranger, invitation=made)


def test_an_administrator_revokes_anybodys(
    client: Client, job: Job, operations: Person, administrator: Person
) -> None:
    made = invited(operations, job)
    client.force_login(administrator)
    client.post(reverse("people:revoke", args=[made.pk]))
    made.refresh_from_db()
    assert (made.state, made.revoked_by) == ("revoked", administrator)
    page = client.post(reverse("people:revoke", args=[made.pk]), follow=True).text
    assert "This invitation is revoked already." in page


def test_a_used_invitation_is_not_revoked(administrator: Person) -> None:
    made = invited(administrator)
    take_up(made)
    with pytest.raises(InvitationEndedError, match="used already"):
        revoke(actor=administrator, invitation=made)


def test_who_leaves_leaves_no_open_invitation(
    job: Job, operations: Person, administrator: Person
) -> None:
    made = invited(operations, job)
    changed = close_account(actor=administrator, person=operations)
    assert changed.revoked == 1
    with pytest.raises(InvitationEndedError):
        take_up(made)


def test_another_role_revokes_what_was_offered_with_the_old_one(
    administrator: Person,
) -> None:
    other = factories.person("alder", Role.ADMINISTRATOR)
    made = invited(other, role=Role.ADMINISTRATOR)
    change_role(actor=administrator, person=other, role=Role.FIELD)
    with pytest.raises(InvitationEndedError):
        take_up(made)


def test_an_invitation_leads_only_onto_jobs_its_maker_still_runs(
    job: Job, operations: Person, stranger: Person, client: Client
) -> None:
    other = factories.job(operations)
    both = invited(operations, job, other)
    alone = invited(operations, job, address="ann@example.org")
    set_member(actor=operations, job=job, person=stranger, role=Role.OPERATIONS)
    set_member(actor=stranger, job=job, person=operations, role=None)
    person = take_up(both)
    assert other.roles_of(person) == {Role.FIELD}
    assert job.roles_of(person) == frozenset()
    assert "was withdrawn" in client.get(path(alone)).text
    with pytest.raises(InvitationEndedError):
        take_up(alone, username="ann")


# The record


def test_an_invitation_stays_as_it_was_made(administrator: Person) -> None:
    made = invited(administrator)
    mine = Invitation.objects.filter(pk=made.pk)
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        mine.update(role=Role.ADMINISTRATOR)
    with pytest.raises(DatabaseError, match="Cannot delete"), transaction.atomic():
        mine.delete()
    revoke(actor=administrator, invitation=made)
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        mine.update(revoked_at=None, revoked_by=None)


def test_the_log_holds_no_token(client: Client, administrator: Person) -> None:
    made = invited(administrator)
    written = io.StringIO()
    (handler,) = (h for h in logging.getLogger().handlers if h.name == "stderr")
    assert isinstance(handler, logging.StreamHandler)
    before = handler.setStream(written)
    try:
        client.get(path(made))
        assert client.post(path(made), {**ENTRY, "username": ""}).status_code == 400
    finally:
        handler.setStream(before)
    told = written.getvalue().replace("\\u2026", "…")
    assert "Bad Request: /invitations/…/" in told
    assert token_of(made) not in told


def test_an_invitation_expires_after_a_week(administrator: Person) -> None:
    made = invited(administrator)
    assert abs(made.expires_at - now() - timedelta(days=7)) < timedelta(minutes=1)
