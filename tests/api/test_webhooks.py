"""Webhooks get what the API description promises."""

import json
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from jsonschema import Draft202012Validator, FormatChecker

from checks.models import Finding
from checks.services.findings import decide_finding
from checks.services.readings import record_readings
from checks.services.releases import sign_release
from core.models import Person
from jobs.models import Building, Job
from jobs.notifications import webhook_delivery
from jobs.notifications.models import Delivery
from tests import factories
from tests.checks.conftest import as_planned, entry
from tests.example_buildings import shed
from tests.jobs.notifications.samples import webhook_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return the job a building with nothing measured."""
    return factories.building(job, operations, shed())


@pytest.fixture
def description() -> Any:
    generated = SchemaGenerator().get_schema(request=None, public=True)
    return json.loads(json.dumps(generated))


def test_the_description_with_its_webhook_is_valid(description: Any) -> None:
    validate_schema(description)
    assert set(description["webhooks"]) == {"event"}


def test_every_kind_of_event_is_as_described(
    description: Any,
    building: Building,
    operations: Person,
    field_lead: Person,
    engineer: Person,
) -> None:
    webhook = webhook_of(building.job)
    planned = as_planned(building, "foundation")
    record_readings(actor=field_lead, building=building, entries=planned)
    sign_release(actor=operations, building=building, kind="pour")
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=low)
    decide_finding(
        actor=engineer,
        finding=Finding.objects.get(),
        choice="accept",
        disposition="use_as_is",
        note="It carries nothing.",
    )
    webhook_delivery.create_deliveries()
    told = [webhook_delivery.build_payload(row) for row in Delivery.objects.all()]
    told.append(
        webhook_delivery.build_payload(Delivery.objects.create(webhook=webhook))
    )
    schema = description["components"]["schemas"]["Event"]
    validator = Draft202012Validator(schema, format_checker=FormatChecker())
    for event in told:
        validator.validate(event)
        assert len(json.dumps(event)) < 2000
    kinds = set(schema["properties"]["type"]["enum"])
    assert {event["type"] for event in told} == kinds - {"finding.returned"}


def test_each_event_links_to_what_it_is_about(
    building: Building, operations: Person, field_lead: Person, client: Any
) -> None:
    webhook_of(building.job)
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=low)
    webhook_delivery.create_deliveries()
    client.force_login(operations)
    told = {row.event.kind: row for row in Delivery.objects.all()}
    more = {
        "reading.stored": "readings",
        "building.evaluated": "result",
        "finding.opened": "finding",
    }
    for kind, what in more.items():
        links = webhook_delivery.build_payload(told[kind])["links"]
        assert set(links) == {"job", "building", what}
        for link in links.values():
            path = link.removeprefix("http://localhost:8000")
            assert client.get(path).status_code == 200, path
