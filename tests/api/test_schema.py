"""The interface's description: valid, true, and nothing it allows breaks anything."""

import json
from typing import Any

import pytest
import schemathesis
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, Phase, given, settings
from jsonschema import Draft202012Validator
from rest_framework.test import APIClient
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.openapi import BUILDING_REF
from api.services import create_crew_token
from checks.models import Finding, Release
from checks.services.findings import decide_finding
from checks.services.readings import record_readings
from core.models import Person
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from tests.api.samples import entry, measured

pytestmark = pytest.mark.django_db
CHECKS = [
    not_a_server_error,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
]
EXAMPLES = 6  # for each operation: enough to meet every member once or twice


@pytest.fixture(scope="module")
def description() -> Any:
    generated = SchemaGenerator().get_schema(request=None, public=True)
    return json.loads(json.dumps(generated))


def test_the_description_is_valid_openapi_3_1(description: Any) -> None:
    assert description["openapi"].startswith("3.1")
    validate_schema(description)


def test_it_is_drawn_up_without_a_warning(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("spectacular", "--fail-on-warn", "--validate", "--file", "/dev/null")
    assert capsys.readouterr().err == ""


def test_every_operation_has_a_name_of_its_own(description: Any) -> None:
    names = [
        operation["operationId"]
        for path in description["paths"].values()
        for operation in path.values()
    ]
    assert len(names) == len(set(names)) > 20


def _bodies(description: Any) -> list[tuple[str, Any, Any]]:
    return [
        (f"{path} {name}", content["schema"], example["value"])
        for path, operations in description["paths"].items()
        for operation in operations.values()
        for content in operation.get("requestBody", {}).get("content", {}).values()
        for name, example in content.get("examples", {}).items()
    ]


def test_every_example_fits_its_schema(description: Any) -> None:
    bodies = _bodies(description)
    assert len(bodies) >= 7
    for name, schema, example in bodies:
        whole = {"components": description["components"], **schema}
        faults = [
            each.message for each in Draft202012Validator(whole).iter_errors(example)
        ]
        assert faults == [], name


def test_a_document_that_fits_the_parser_fits_the_description(description: Any) -> None:
    whole = {"components": description["components"], **BUILDING_REF}
    Draft202012Validator(whole).validate(measured())


@pytest.mark.parametrize("name", ["padstone.building-1", "padstone.result-1"])
def test_the_documents_schemas_are_for_everybody(
    anonymous: APIClient, name: str
) -> None:
    answer = anonymous.get(f"/api/v1/schemas/{name}.json")
    assert answer.status_code == 200
    Draft202012Validator.check_schema(answer.json())
    assert answer["ETag"] == f'"{sha256_of(answer.json())}"'
    given_tag = {"If-None-Match": answer["ETag"]}
    again = anonymous.get(f"/api/v1/schemas/{name}.json", headers=given_tag)
    assert again.status_code == 304


def test_the_pages_run_no_script_of_their_own(anonymous: APIClient) -> None:
    answer = anonymous.get("/api/v1/docs")
    assert answer.status_code == 200
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert "<style" not in answer.text
    assert "<script>" not in answer.text
    assert "http" not in answer.text.replace("http-equiv", "")
    script = anonymous.get("/api/v1/docs?script=")
    assert script["Content-Type"].startswith("application/javascript")
    assert "/api/v1/schema" in script.text


@pytest.fixture
def pks(
    building: Building, field_lead: Person, engineer: Person, operations: Person
) -> dict[str, Any]:
    """Return something real behind every address."""
    low = [entry("level:R1", "1000 mm"), entry("level:R2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=low)
    finding = Finding.objects.get()
    made = decide_finding(
        actor=engineer, finding=finding, choice=0, disposition="rework", note="Shim."
    )
    revision = building.current_revision()
    record = {"building": {"name": "x"}}
    release = Release.objects.create(
        building=building,
        revision=revision,
        kind="pour",
        record=record,
        digest=sha256_of(record),
        signed_by=operations,
        signed_at=made.made_at,
    )
    return {
        "buildings": building.pk,
        "jobs": building.job_id,
        "findings": finding.pk,
        "decisions": made.pk,
        "releases": release.pk,
    }


def _codes(operation: Any, pks: dict[str, Any], headers: dict[str, str]) -> set[int]:
    """Ask one operation what its description allows; give the codes answered."""
    noun = operation.path.split("/")[3]
    codes: set[int] = set()

    @given(case=operation.as_strategy())
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def ask(case: Any) -> None:
        if noun in pks and "id" in case.path_parameters:
            case.path_parameters["id"] = pks[noun]
        answer = case.call(headers=headers)
        codes.add(answer.status_code)
        case.validate_response(answer, checks=CHECKS)

    ask()
    return codes


@pytest.mark.django_db(transaction=True)
def test_nothing_the_description_allows_breaks_anything(
    pks: dict[str, Any], administrator: Person
) -> None:
    schema = schemathesis.openapi.from_wsgi(
        "/api/v1/schema?format=json", get_wsgi_application()
    )
    _, text = create_crew_token(actor=administrator, name="a program", days=1)
    # The client of these tests takes answers as they come, and unpacks none.
    headers = {"Authorization": f"Token {text}", "Accept-Encoding": "identity"}
    codes = {
        found.ok().label: _codes(found.ok(), pks, headers)
        for found in schema.get_all_operations()
    }
    assert len(codes) > 25
    assert not {code for each in codes.values() for code in each if code >= 500}
