"""Permission to invite, by role and job."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from core.models import Person, Role
from jobs.accounts.invitations import revoke_invitation
from jobs.accounts.models import Invitation
from jobs.models import Job, MembershipEvent
from tests import factories
from tests.jobs.accounts.invitation_helpers import expire, invited, take_up

pytestmark = pytest.mark.django_db


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
    with pytest.raises(ValidationError, match="an administrator to invite others"):
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
    with pytest.raises(ValidationError, match="sees all jobs"):
        invited(administrator, job, role=Role.ADMINISTRATOR)


def test_a_closed_account_invites_nobody(job: Job, operations: Person) -> None:
    operations.is_active = False
    with pytest.raises(PermissionDenied):
        invited(operations, job)


@pytest.mark.parametrize("address", ["fern@example.org", "FERN@Example.org"])
def test_who_has_an_account_is_not_invited(
    administrator: Person, field_lead: Person, address: str
) -> None:
    with pytest.raises(ValidationError, match="already has an account"):
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
    revoke_invitation(actor=administrator, invitation=second)
    third = invited(administrator)
    states = {each.pk: each.state for each in Invitation.objects.all()}
    assert states == {first.pk: "expired", second.pk: "revoked", third.pk: "open"}


@pytest.mark.parametrize("address", ["", "noor", "a b@example.org"])
def test_what_is_no_address_is_refused(administrator: Person, address: str) -> None:
    with pytest.raises(ValidationError):
        invited(administrator, address=address)
