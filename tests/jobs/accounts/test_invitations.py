"""How an invitation ends, and what stays of it."""

import io
import logging
import threading
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from core.models import Person, Role
from jobs.accounts.invitations import (
    InvitationEndedError,
    make_token,
    revoke_invitation,
)
from jobs.accounts.models import Invitation
from jobs.accounts.services import change_role, close_account
from jobs.models import Job
from jobs.services import set_membership
from tests import factories
from tests.jobs.accounts.invitation_helpers import ENTRY, expire, invited, path, take_up

pytestmark = pytest.mark.django_db


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
        assert "Ask Addie for a new one" in answer.text
    assert not Person.objects.filter(username="noor").exists()


def test_a_revoked_link_says_so_and_whom_to_ask(
    client: Client, administrator: Person
) -> None:
    made = invited(administrator)
    revoke_invitation(actor=administrator, invitation=made)
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
    assert "Invitation not found" in answer.text
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
    address = reverse("accounts:revoke", args=[made.pk])
    assert client.post(address).status_code == 404
    with pytest.raises(PermissionDenied):
        revoke_invitation(actor=stranger, invitation=made)


def test_an_administrator_revokes_anybodys(
    client: Client, job: Job, operations: Person, administrator: Person
) -> None:
    made = invited(operations, job)
    client.force_login(administrator)
    client.post(reverse("accounts:revoke", args=[made.pk]))
    made.refresh_from_db()
    assert (made.state, made.revoked_by) == ("revoked", administrator)
    page = client.post(reverse("accounts:revoke", args=[made.pk]), follow=True).text
    assert "This invitation was revoked." in page


def test_a_used_invitation_is_not_revoked(administrator: Person) -> None:
    made = invited(administrator)
    take_up(made)
    with pytest.raises(InvitationEndedError, match="used"):
        revoke_invitation(actor=administrator, invitation=made)


def test_who_leaves_leaves_no_open_invitation(
    job: Job, operations: Person, administrator: Person
) -> None:
    made = invited(operations, job)
    changed = close_account(actor=administrator, person=operations)
    assert changed.revoked_invitations == 1
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
    set_membership(actor=operations, job=job, person=stranger, role=Role.OPERATIONS)
    set_membership(actor=stranger, job=job, person=operations, role=None)
    person = take_up(both)
    assert other.roles_of(person) == {Role.FIELD}
    assert job.roles_of(person) == frozenset()
    assert "is no longer valid" in client.get(path(alone)).text
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
    revoke_invitation(actor=administrator, invitation=made)
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
    assert make_token(made) not in told


def test_an_invitation_expires_after_a_week(administrator: Person) -> None:
    made = invited(administrator)
    assert abs(made.expires_at - now() - timedelta(days=7)) < timedelta(minutes=1)
