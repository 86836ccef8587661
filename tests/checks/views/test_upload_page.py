"""Readings from a file, brought to the building's record on a page."""

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from checks.models import Reading
from core.models import Person
from jobs.models import Building
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
GOOD = {"id": "one", "check": "wall:A-B", "value": "66'"}
BAD = {"id": "two", "check": "wall:A-Z", "value": "66'"}


@pytest.fixture
def bring(client: Client, building: Building, field_lead: Person) -> Any:
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")

    def bring(name: str, content: str, **more: str) -> Any:
        file = SimpleUploadedFile(name, content.encode())
        address = reverse("checks:upload_readings", args=[building.pk])
        return client.post(address, {"file": file, **more})

    return bring


def test_the_readings_of_a_document_are_recorded(bring: Any) -> None:
    answer = bring("shed.json", json.dumps(shed(readings=[GOOD])))
    assert answer.status_code == 302
    assert Reading.objects.get().client_id == "one"


def test_the_same_file_again_records_nothing_twice(bring: Any) -> None:
    for _ in range(2):
        assert bring("list.json", json.dumps([GOOD])).status_code == 302
    assert Reading.objects.count() == 1


def test_a_bad_line_of_a_table_is_named_and_nothing_is_stored(bring: Any) -> None:
    answer = bring("walls.csv", "check,value\nwall:A-B,66\nwall:A-Z,66\n")
    assert answer.status_code == 400
    assert "line 3" in answer.content.decode()
    assert not Reading.objects.exists()


def test_the_good_ones_are_kept_when_asked(bring: Any) -> None:
    answer = bring("list.json", json.dumps([GOOD, BAD]), keep_good="on")
    assert answer.status_code == 400
    assert "/1/check" in answer.content.decode()
    assert Reading.objects.get().client_id == "one"


def test_what_is_no_file_of_readings_says_so(bring: Any) -> None:
    answer = bring("plan.json", "{}")
    assert answer.status_code == 400
    assert "contains no readings" in answer.content.decode()
