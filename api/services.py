"""Writes of the API that combine several services in one transaction."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest
from knox.models import AuthToken

from api.errors import PasswordLockout, PreconditionFailed
from api.models import CrewToken
from checks.services.evaluation import evaluate_or_leave_due
from checks.services.readings import RecordedReadings, record_readings
from core.models import Person
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import DocumentError
from jobs.models import Building, Job, PlanRevision
from jobs.services import add_building, extract_plan_document, revise_plan

logger = logging.getLogger("padstone.api")

LOCKOUT_S = 15 * 60
NO_READINGS = RecordedReadings([], [], [])


@dataclass(frozen=True, slots=True)
class BuildingImport:
    """The building of an imported document; `created` is False if it existed."""

    building: Building
    recorded: RecordedReadings
    created: bool


@transaction.atomic
def import_building(
    *, actor: Person, job: Job, document: Mapping[str, Any], note: str
) -> BuildingImport:
    """Add a building with its plan and its readings, all or nothing.

    The same document sent again finds the building it became the first time.

    Raises
    ------
    DocumentError
        With every issue of the plan, or of its readings.
    """
    try:
        building = add_building(actor=actor, job=job, document=document, note=note)
        created = True
    except ValidationError:
        before = _find_imported_building(job, document)
        if before is None:
            raise
        building, created = before, False
    entries = document.get("readings") or []
    if not entries:
        return BuildingImport(building, NO_READINGS, created)
    recorded = record_readings(actor=actor, building=building, entries=entries)
    if recorded.refused:
        raise DocumentError(recorded.refused)
    return BuildingImport(building, recorded, created)


def _find_imported_building(job: Job, document: Mapping[str, Any]) -> Building | None:
    """Find the building whose current plan is the same document."""
    name = parse_building(document).plan.name
    building = job.buildings.filter(name=name).first()
    if building is None:
        return None
    current = building.current_revision()
    same = current.digest == sha256_of(extract_plan_document(document))
    return building if same else None


@dataclass(frozen=True, slots=True)
class RevisionOutcome:
    """The current plan; `created` is False if it was current already."""

    revision: PlanRevision
    created: bool


def issue_revision(
    *,
    actor: Person,
    building: Building,
    document: Mapping[str, Any],
    note: str,
    expected: str | None = None,
) -> RevisionOutcome:
    """Issue a revision of the plan and evaluate the building by it.

    Parameters
    ----------
    actor : who issues it.
    building : whose plan it is.
    document : a padstone.building/1 document.
    note : what changed and why.
    expected : digest of the plan that the client revises, where it sent one.

    Raises
    ------
    PreconditionFailed
        If another plan is current.
    """
    with transaction.atomic():
        # Locked, so that two revisions cannot both find themselves the next one.
        Building.objects.select_for_update().get(pk=building.pk)
        current = building.current_revision()
        if expected is not None and expected != current.digest:
            raise PreconditionFailed
        try:
            revision = revise_plan(
                actor=actor, building=building, document=document, note=note
            )
        except ValidationError as error:
            if getattr(error, "code", "") != "identical":
                raise
            return RevisionOutcome(current, created=False)
    # Outside the transaction: the revision stays even if its evaluation fails.
    evaluate_or_leave_due(building)
    return RevisionOutcome(revision, created=True)


# ---- tokens and signatures --------------------------------------------------


@transaction.atomic
def create_crew_token(*, actor: Person, name: str, days: int) -> tuple[CrewToken, str]:
    """Create a token for a crew or a program; its text cannot be read again."""
    token, text = AuthToken.objects.create(user=actor, expiry=timedelta(days=days))
    return CrewToken.objects.create(token=token, name=name.strip()), text


def revoke_token(*, actor: Person, token: CrewToken) -> None:
    """Delete a token: it is refused from now on."""
    CrewToken.objects.owned_by(actor).get(pk=token.pk).token.delete()


def authenticate_person(
    request: HttpRequest, username: str, password: str
) -> Person | None:
    """Return the person of a user name and password; None where they do not match.

    Raises
    ------
    PasswordLockout
        After too many wrong passwords, even where this one is right.
    """
    person = authenticate(request, username=username, password=password)
    if getattr(request, "axes_locked_out", False):
        # Else the middleware would replace the response with its own page.
        request.axes_locked_out = False  # type: ignore[attr-defined]
        raise PasswordLockout(LOCKOUT_S)
    return person if isinstance(person, Person) else None


def require_signature(request: HttpRequest, person: Person, password: str) -> None:
    """Check the password that signs for this person.

    Raises
    ------
    ValidationError
        If the password is wrong.
    """
    signer = authenticate_person(request, person.get_username(), password)
    if signer is None or signer.pk != person.pk:
        msg = "Wrong password. Nothing was signed."
        raise ValidationError({"password": msg}, code="password")
