"""Jobs and buildings over the wire, and a document that becomes one."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.models import Reading
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.api.conftest import As
from tests.api.samples import entry, measured, store

pytestmark = pytest.mark.django_db


def buildings_url(job: Job) -> str:
    return f"/api/v1/jobs/{job.pk}/buildings"


def test_a_job_tells_its_buildings_and_the_askers_part(
    by_token: As, field_lead: Person, building: Building
) -> None:
    answer = by_token(field_lead).get(f"/api/v1/jobs/{building.job_id}").json()
    assert answer["number"] == building.job.number
    assert answer["my_roles"] == ["field"]
    assert [row["name"] for row in answer["buildings"]] == [building.name]
    kinds = [stage["kind"] for stage in answer["buildings"][0]["stages"]]
    assert kinds == ["foundation", "verification", "erection"]


def test_the_list_of_jobs_costs_the_same_however_long(
    by_token: As, operations: Person, building: Building
) -> None:
    client = by_token(operations)
    with CaptureQueriesContext(connection) as few:
        assert len(client.get("/api/v1/jobs").json()["results"]) == 1
    for _ in range(4):
        job = factories.job(operations)
        document = store()
        del document["readings"]
        factories.building(job, operations, document)
    with CaptureQueriesContext(connection) as many:
        assert len(client.get("/api/v1/jobs").json()["results"]) == 5
    assert len(many) == len(few)


def test_jobs_are_found_by_words_and_by_what_waits(
    by_token: As, operations: Person, field_lead: Person, building: Building
) -> None:
    factories.job(operations, name="Elsewhere", number="X-77")
    client = by_token(operations)

    def found(**asked: Any) -> list[str]:
        answer = client.get("/api/v1/jobs", asked)
        return [row["number"] for row in answer.json()["results"]]

    assert found(text="x-77") == ["X-77"]
    assert found(text="quarry") == [building.job.number]
    assert found(findings="true") == []
    assert len(found()) == 2
    assert client.get("/api/v1/jobs", {"stage": "roof"}).status_code == 400


def test_a_building_says_what_it_waits_for(
    by_token: As, field_lead: Person, building: Building
) -> None:
    answer = by_token(field_lead).get(f"/api/v1/buildings/{building.pk}")
    assert answer.json()["waits_for"] == "no readings yet"
    assert answer.json()["required_checks"] > 0


def test_a_document_becomes_a_building_with_its_readings(
    by_token: As, operations: Person, job: Job
) -> None:
    answer = by_token(operations).post(buildings_url(job), measured())
    assert answer.status_code == 201
    told = answer.json()
    assert told["readings_stored"] == len(measured()["readings"])
    assert told["building"]["open_findings"] > 0
    assert told["evaluation"]["due"] is False
    building = Building.objects.get(pk=told["building"]["id"])
    assert building.job == job


def test_a_document_with_one_bad_reading_becomes_nothing(
    by_token: As, operations: Person, job: Job
) -> None:
    long_id = entry("level:R1", "1 m", by="c" * 61)
    for bad in (entry("level:R8", "1 m"), long_id):
        document = store(readings=[entry("level:R1", "1 m"), bad])
        answer = by_token(operations).post(buildings_url(job), document)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"].startswith("/readings/1/")
    assert not Building.objects.exists()
    assert not Reading.objects.exists()


def test_the_same_document_sent_twice_is_one_building(
    by_token: As, operations: Person, job: Job
) -> None:
    client = by_token(operations)
    first = client.post(buildings_url(job), measured())
    again = client.post(buildings_url(job), measured())
    assert again.status_code == 200
    assert again.json()["building"]["id"] == first.json()["building"]["id"]
    assert again.json()["readings_stored"] == 0
    assert again.json()["readings_repeated"] == len(measured()["readings"])


def test_another_document_of_the_same_name_is_refused(
    by_token: As, operations: Person, job: Job
) -> None:
    client = by_token(operations)
    client.post(buildings_url(job), store())
    other = store(shim_thicknesses=['1/4"'])
    answer = client.post(buildings_url(job), other)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/name"


@pytest.mark.parametrize("body", [[], "text", 7, {}])
def test_what_is_no_document_is_refused(
    by_token: As, operations: Person, job: Job, body: Any
) -> None:
    answer = by_token(operations).post(buildings_url(job), body, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"]


def test_what_comes_out_goes_in_again(
    by_token: As, operations: Person, job: Job
) -> None:
    client = by_token(operations)
    first = client.post(buildings_url(job), measured()).json()
    document = client.get(f"/api/v1/buildings/{first['building']['id']}/document")
    other = factories.job(operations)
    second = client.post(buildings_url(other), document.json()).json()
    results = [
        client.get(f"/api/v1/buildings/{told['building']['id']}/result").json()
        for told in (first, second)
    ]
    assert results[0] == results[1]


def test_an_imported_plan_is_answered_with_its_warnings(
    by_token: As, operations: Person, job: Job
) -> None:
    document = store()
    document["details"]["F"]["plate"]["edge_distance"] = '1/2"'
    answer = by_token(operations).post(buildings_url(job), document)
    assert answer.status_code == 201
    (warning,) = answer.json()["warnings"]
    assert warning["pointer"] == "/details/F/plate/edge_distance"
    assert "Table J3.4" in warning["message"]
