"""The concrete beside its gate, on the releases page."""

import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from checks.services.releases import sign_release
from core.models import Person
from jobs import services as jobs
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db

MATURITY = {
    "datum": "0 degC",
    "curve": [
        {"maturity": 450, "strength": "1150 psi"},
        {"maturity": 1000, "strength": "2050 psi"},
        {"maturity": 2300, "strength": "2800 psi"},
        {"maturity": 4700, "strength": "3500 psi"},
    ],
    "temperatures": [{"hours": 60, "temperature": "14 degC"}],
    "expected": {"low": "6 degC", "likely": "11 degC", "high": "18 degC"},
}


def revise_concrete(building: Building, actor: Person, **concrete: Any) -> None:
    """Revise the plan: these members of its concrete become known."""
    document = shed()
    document["concrete"] |= concrete
    jobs.revise_plan(actor=actor, building=building, document=document, note="Concrete")


@pytest.fixture
def page(client: Client, building: Building, operations: Person) -> Any:
    """Return the text of the releases page as the operations manager reads it."""
    client.force_login(operations, backend="django.contrib.auth.backends.ModelBackend")

    def text() -> str:
        address = reverse("checks:releases", args=[building.pk])
        html = client.get(address).content.decode()
        return " ".join(re.sub(r"</?span[^>]*>", "", html).split())

    return text


def test_a_plan_that_says_nothing_of_its_concrete_has_no_such_section(
    page: Any, measure: Measure
) -> None:
    measure(entry("strength:F1", "2900 psi"))
    assert 'id="strength"' not in page()


def test_the_forecast_stands_beside_the_gate_and_says_it_is_none(
    page: Any, building: Building, operations: Person, measure: Measure
) -> None:
    revise_concrete(building, operations, maturity=MATURITY)
    measure(entry("strength:F1", "1900 psi"))
    shown = page()
    assert "1,900 psi; 2,625 psi needed, field-cured." in shown
    assert "Forecast (opens no release)" in shown
    assert "Reaches 2,625 psi" in shown
    assert "likely <time" in shown
    assert "It never opens the gate" in shown
    assert "ASTM C1074 (secondary)" in shown


def test_without_a_sample_the_forecast_is_shown_and_the_gate_stays_unmeasured(
    page: Any, building: Building, operations: Person, measure: Measure
) -> None:
    revise_concrete(building, operations, maturity=MATURITY)
    measure(entry("wall:A-B", "66'"))
    shown = page()
    assert "No field-cured sample tested yet." in shown
    assert "likely <time" in shown


def test_without_a_day_of_placing_hours_are_given(
    page: Any, building: Building, operations: Person, measure: Measure
) -> None:
    document = shed()
    document["concrete"] = {"specified_strength": "3500 psi", "maturity": MATURITY}
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    measure(entry("wall:A-B", "66'"))
    shown = page()
    assert "likely after" in shown
    assert "likely <time" not in shown


def test_tests_that_are_too_low_are_named(
    page: Any, building: Building, operations: Person, measure: Measure
) -> None:
    tests = ["3600 psi", "3450 psi", "2980 psi"]
    revise_concrete(building, operations, standard_cured=tests)
    measure(entry("strength:F1", "2900 psi"))
    shown = page()
    assert "<b>Not accepted</b>: 3 tests, none may be below 3,000 psi" in shown
    assert "test 3: 2,980 psi" in shown
    assert "average of tests 1 to 3: 3,343 psi" in shown
    assert "field-cured samples decide when columns may be set" in shown


def test_neither_reaches_the_notice_to_the_erector(
    building: Building, operations: Person, measure: Measure
) -> None:
    revise_concrete(
        building, operations, maturity=MATURITY, standard_cured=["3600 psi"]
    )
    measure(*as_planned(building, "foundation", "verification"))
    release = sign_release(actor=operations, building=building, kind="ship")
    notice = release.record["notice"]["strength"]
    assert notice["verdict"] == "unmeasured"
    assert "forecast" not in json.dumps(notice)
    assert "acceptance" not in notice
    result = release.record["evaluation"]["result"]["concrete"]
    assert result["forecast"]["likely_hours"] > 0
