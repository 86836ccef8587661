"""The state of the steel: recorded, evaluated with, and shown."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from checks.evaluation_input import build_building_document
from checks.models import Evaluation
from checks.services.steel import record_steel_state
from core.models import Person
from jobs.exchange.input.parser import parse_building
from jobs.models import Building

pytestmark = pytest.mark.django_db


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_another_state_of_the_steel_is_evaluated(
    building: Building, operations: Person
) -> None:
    before = Evaluation.objects.filter(building=building).count()
    assert record_steel_state(actor=operations, building=building, state="detailing")
    building.refresh_from_db()
    assert building.evaluation_due_since is None
    assert Evaluation.objects.filter(building=building).count() == before + 1


def test_the_export_has_the_state_and_an_import_takes_it(
    building: Building, operations: Person
) -> None:
    assert build_building_document(building)["steel"] == "fabricated"
    record_steel_state(actor=operations, building=building, state="shipped")
    building.refresh_from_db()
    document: dict[str, Any] = build_building_document(building)
    assert document["steel"] == "shipped"
    assert parse_building(document).plan.steel == "shipped"


def test_operations_change_it_on_the_page_of_the_building(
    building: Building, operations: Person
) -> None:
    client = signed_in(operations)
    shown = client.get(reverse("building", args=[building.pk]))
    assert 'name="state"' in shown.text
    assert "steel fabricated" in " ".join(shown.text.split())
    address = reverse("checks:steel_state", args=[building.pk])
    answer = client.post(address, {"state": "detailing", "note": "Plates on hold."})
    assert answer.status_code == 302
    page = " ".join(client.get(address).text.split())
    assert "Being detailed" in page
    assert "Plates on hold." in page
    assert str(operations) in page


def test_the_page_says_why_shipped_steel_is_not_called_back(
    building: Building, operations: Person
) -> None:
    record_steel_state(actor=operations, building=building, state="shipped")
    address = reverse("checks:steel_state", args=[building.pk])
    answer = signed_in(operations).post(address, {"state": "fabricated"})
    assert answer.status_code == 400
    assert "Say in the note why it is not." in answer.text
    building.refresh_from_db()
    assert building.steel == "shipped"


def test_who_may_not_change_it_sees_no_form(
    building: Building, engineer: Person
) -> None:
    client = signed_in(engineer)
    for name in ("building", "checks:steel_state"):
        shown = client.get(reverse(name, args=[building.pk]))
        assert shown.status_code == 200
        assert 'name="state"' not in shown.text
