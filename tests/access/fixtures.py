"""A job with something behind every address."""

from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.utils.timezone import now

from api.models import CrewToken
from api.services import create_crew_token
from checks.models import Decision, Finding, Photograph, Reevaluation, Release
from checks.services.findings import decide_finding, report_work_done
from checks.services.photographs import add_photograph
from checks.services.readings import record_readings
from checks.services.reevaluation import start_reevaluation
from checks.services.releases import sign_release
from core.devices import hash_session_key
from core.models import Device, Passkey, Person
from jobs.accounts.invitations import create_invitation
from jobs.accounts.models import Invitation
from jobs.models import Building, Job
from tests import factories
from tests.api.samples import entry, store
from tests.checks.conftest import as_planned
from tests.images import photo


def third_store() -> dict[str, Any]:
    document = store(name="Third store")
    for mark, along in (("R3", "60'"), ("R4", "66'")):
        further = {"mark": mark, "wall": "A-B", "along": along, "detail": "F"}
        document["positions"].append(further)
    del document["readings"]
    return document


@dataclass(frozen=True)
class Place:
    """A job with something behind every address."""

    job: Job
    building: Building
    open: Finding
    made: Decision
    done: Decision
    release: Release
    token: CrewToken
    photograph: Photograph
    device: Device
    passkey: Passkey
    invitation: Invitation
    reevaluation: Reevaluation


def make_place(
    job: Job, operations: Person, field_lead: Person, engineer: Person
) -> Place:
    """Measure a building as planned but for three low pads, and decide on two."""
    building = factories.building(job, operations, third_store())
    sent = as_planned(building, "foundation")
    record_readings(actor=field_lead, building=building, entries=sent)
    release = sign_release(actor=operations, building=building, kind="pour")
    low = {"R1": "1000 mm", "R2": "1006 mm", "R3": "1008 mm", "R4": "1009 mm"}
    levels = [entry(f"level:{mark}", value) for mark, value in low.items()]
    record_readings(actor=field_lead, building=building, entries=levels)
    made, done = (_decided(engineer, topic) for topic in ("level:R3", "level:R4"))
    report_work_done(actor=field_lead, decision=done, at=now(), note="Done.")
    added = add_photograph(
        actor=field_lead, building=building, client_id=uuid4(), content=photo()
    )
    token, _ = create_crew_token(actor=field_lead, name="a phone", days=1)
    invitation = create_invitation(
        actor=operations, address="noor@example.org", role="field", jobs=[job]
    )
    return Place(
        job=job,
        building=building,
        open=Finding.objects.get(topic="level:R2"),
        made=made,
        done=done,
        release=release,
        token=token,
        photograph=added.photograph,
        device=_phone_of(field_lead),
        passkey=_passkey_of(field_lead),
        invitation=invitation,
        reevaluation=start_reevaluation(actor=operations, reason="basis"),
    )


def _decided(engineer: Person, topic: str) -> Decision:
    return decide_finding(
        actor=engineer,
        finding=Finding.objects.get(topic=topic),
        choice=0,
        disposition="rework",
        note="Shim.",
    )


def _phone_of(person: Person) -> Device:
    return Device.objects.create(
        person=person,
        session_hash=hash_session_key("a session"),
        family="a phone",
        first_seen_at=now(),
        last_seen_at=now(),
    )


def _passkey_of(person: Person) -> Passkey:
    return Passkey.objects.create(
        person=person,
        name="yellow phone",
        credential_id=b"a key",
        public_key=b"its public half",
        sign_count=0,
        rp_id="localhost",
        added_at=now(),
    )
