"""The page where what becomes known of the concrete is entered."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import localdate, now

from checks.models import ConcreteEntry, Reading
from checks.services.concrete import record_concrete
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, entry
from tests.checks.services.test_concrete import (
    EXPECTED,
    MIXTURE,
    build_entry,
    complete_entry,
    cured,
    warm,
)

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def url(building: Building) -> str:
    return reverse("checks:concrete", args=[building.pk])


@pytest.fixture
def phone(client: Client, field_lead: Person) -> Client:
    """Sign the field lead in."""
    client.force_login(field_lead, backend=BACKEND)
    return client


@pytest.fixture
def tell(building: Building, field_lead: Person) -> Any:
    def tell(*entries: Any) -> None:
        made = record_concrete(actor=field_lead, building=building, entries=entries)
        assert not made.refused

    return tell


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_a_temperature_is_entered_as_it_was_read(phone: Client, url: str) -> None:
    page = text(phone.get(url))
    assert "<summary>Measured by, Note</summary>" in page
    assert "No entries yet" in page
    data = {
        "add": "temperature",
        "id": "t-1",
        "temperature": "57.5",
        "degree": "degF",
        "at": "2026-04-08T06:00",
        "hours": "20",
        "by": "crew 2",
    }
    assert phone.post(url, data).status_code == 302
    row = ConcreteEntry.objects.get()
    assert (row.client_id, row.entry["temperature"]) == ("t-1", "57.5 degF")
    assert (row.entry["hours"], row.entry["by"]) == (20.0, "crew 2")
    page = text(phone.get(url))
    assert "57.5 °F, 20 h after placing" in page
    assert "Hours since placing, Measured by, Note</summary>" in page
    assert "Temperature: needs the cylinders of the mixture" in page
    assert phone.post(url, data).status_code == 302
    assert ConcreteEntry.objects.count() == 1


def test_what_is_refused_stands_beside_its_field(phone: Client, url: str) -> None:
    data = {"add": "temperature", "id": "t-1", "temperature": "57", "degree": "degF"}
    answer = phone.post(url, data)
    assert answer.status_code == 400
    form = answer.context["form"]
    assert "required" in str(form.errors["hours"])
    answer = phone.post(url, {**data, "hours": "20", "temperature": "570"})
    assert "typing error" in str(answer.context["form"].errors["temperature"])
    assert 'value="570"' in answer.content.decode()
    lines = {"add": "mixture", "id": "m", "method": "datum", "degree": "degC"}
    answer = phone.post(url, {**lines, "curve": "450 1150 psi\n1000 2050"})
    assert "such as 3000 psi" in str(answer.context["form"].errors["curve"])
    assert "either from a “datum”" in str(answer.context["form"].non_field_errors())
    answer = phone.post(url, {**lines, "curve": "450 1150 psi\nmany"})
    assert "Line 2" in str(answer.context["form"].errors["curve"])
    assert not ConcreteEntry.objects.exists()


def test_each_kind_has_its_form(phone: Client, url: str, building: Building) -> None:
    today = localdate().isoformat()
    forms: list[dict[str, str]] = [
        {"add": "standard_cured", "strength": "3600", "pressure": "psi", "on": today},
        {"add": "placing", "placed_on": "2026-04-07"},
        {
            "add": "expected",
            "low": "6",
            "likely": "11",
            "high": "18",
            "degree": "degC",
        },
        {
            "add": "mixture",
            "method": "age",
            "activation": "5000",
            "reference": "20",
            "degree": "degC",
            "curve": "24 6 MPa\r\n\r\n72, 12 MPa",
        },
    ]
    for place, data in enumerate(forms):
        answer = phone.post(url, {"id": f"e-{place}", **data})
        assert answer.status_code == 302, answer.context["form"].errors
    rows = {row.kind: row.entry for row in ConcreteEntry.objects.all()}
    assert rows["standard_cured"]["strength"] == "3600 psi"
    assert rows["placing"]["placed_on"] == "2026-04-07"
    assert rows["expected"]["expected"]["likely"] == "11 degC"
    assert rows["mixture"]["curve"][1] == {"age": 72.0, "strength": "12 MPa"}
    page = text(phone.get(url))
    assert "2 cylinders, equivalent age" in page
    assert "low 6 °C, likely 11 °C, high 18 °C" in page
    assert "Standard-cured tests" in page  # judged, beside the form


def test_a_field_cured_sample_is_an_ordinary_reading(phone: Client, url: str) -> None:
    data = {
        "add": "sample",
        "id": "s-1",
        "name": "F1",
        "value": "3000",
        "pressure": "psi",
        "at": "2026-04-12T10:00",
    }
    assert phone.post(url, data).status_code == 302
    reading = Reading.objects.get()
    assert (reading.check_key, reading.entered) == ("strength:F1", "3000 psi")
    answer = phone.post(url, {**data, "id": "s-2", "name": "F 1/2" * 30})
    assert "name" in answer.context["form"].errors


def test_an_entry_is_replaced_from_the_list(phone: Client, url: str, tell: Any) -> None:
    first = warm(8, 6, "57.5 degF", hours=20, by="crew 2")
    tell(first)
    form = phone.get(url, {"supersedes": first["id"]}).context["form"]
    data = {
        name: form[name].value() or ""
        for name in form.fields
        if name not in ("at", "id")
    }
    assert (data["temperature"], data["degree"], data["hours"]) == ("57.5", "degF", 20)
    data |= {"add": "temperature", "id": "t-2", "temperature": "54", "by": "crew 2"}
    answer = phone.post(url, {**data, "at": "2026-04-08T06:00"})
    assert answer.status_code == 302, answer.context["form"].errors
    page = text(phone.get(url))
    assert "<s>57.5 °F, 20 h after placing</s>" in page
    assert "replaces an earlier entry" in page


@pytest.mark.parametrize(
    "first",
    [cured(30, "24.8 MPa"), complete_entry(MIXTURE), complete_entry(EXPECTED)],
    ids=lambda entry: entry["kind"],
)
def test_what_is_replaced_is_in_the_form(
    first: dict[str, Any], phone: Client, url: str, tell: Any
) -> None:
    tell(first)
    answer = phone.get(url, {"supersedes": first["id"]})
    assert answer.context["kind"] == first["kind"]
    form = answer.context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    again = phone.post(url, {**data, "add": first["kind"]})
    assert again.status_code == 302, again.context["form"].errors
    row = ConcreteEntry.objects.latest("pk")
    own = set(first) - {"id", "on"}
    assert {name: row.entry[name] for name in own} == {n: first[n] for n in own}
    assert row.supersedes is not None


def test_what_the_form_has_no_unit_for_is_typed_again(
    phone: Client, url: str, tell: Any
) -> None:
    mixed = {"low": "40 degF", "likely": "10 degC", "high": "60 degF"}
    first = complete_entry(EXPECTED, expected=mixed)
    test = cured(30, "24800 kPa")
    tell(first, test)
    form = phone.get(url, {"supersedes": first["id"]}).context["form"]
    assert form["low"].value() is None
    form = phone.get(url, {"supersedes": test["id"]}).context["form"]
    assert (form["strength"].value(), form["pressure"].value()) == (None, "psi")


@pytest.mark.parametrize("name", ["", "nothing", "\x00", "\ud800", "a" * 999])
def test_whatever_the_address_says_is_replaced_the_page_is_shown(
    phone: Client, url: str, name: str
) -> None:
    answer = phone.get(url, {"supersedes": name.encode("utf-8", "replace")})
    assert answer.status_code == 200
    assert answer.context["replacing"] == ""


def test_the_engineer_may_enter_it_and_a_stranger_sees_nothing(
    client: Client, engineer: Person, stranger: Person, url: str
) -> None:
    placed = {"add": "placing", "id": "p", "placed_on": "2026-04-07"}
    client.force_login(stranger, backend=BACKEND)
    assert client.get(url).status_code == 404
    assert client.post(url, placed).status_code == 404
    client.force_login(engineer, backend=BACKEND)
    assert client.post(url, placed).status_code == 302


def test_the_gate_leads_here(
    client: Client, operations: Person, building: Building, url: str
) -> None:
    client.force_login(operations, backend=BACKEND)
    page = text(client.get(reverse("checks:releases", args=[building.pk])))
    assert f'<a href="{url}?add=sample">no field-cured sample tested</a>' in page
    assert page.count(f'href="{url}"') == 2  # among the rooms, and below the gates


def test_the_page_asks_as_much_for_many_entries_as_for_one(
    phone: Client,
    url: str,
    tell: Any,
    measure: Measure,
    django_assert_max_num_queries: Any,
) -> None:
    tell(
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "14 degC", hours=20),
    )
    measure(entry("strength:F1", "2900 psi"))
    with django_assert_max_num_queries(100) as few:
        phone.get(url)
    queries = len(few)
    start = now() - timedelta(days=60)
    tell(
        *(
            build_entry("temperature", at=(start + timedelta(hours=n)).isoformat(),
                 temperature="12 degC")
            for n in range(80)
        )
    )  # fmt: skip
    with django_assert_max_num_queries(queries):
        phone.get(url)
