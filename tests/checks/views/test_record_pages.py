"""The pages of the record: permissions, the blank sheet and the walk."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from checks.models import Finding, Instrument, Reading, Release
from checks.services.findings import report_work_done
from core.models import Person
from jobs.models import Building
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import order
from tests.checks.views.addresses import url

pytestmark = pytest.mark.django_db
PAGES = ["blank_sheet", "measure", "reading_history", "releases"]


# Who may open them


@pytest.mark.parametrize("page", [*PAGES, "sign_release", "create_instrument"])
def test_a_building_is_nobodys_who_is_not_on_its_job(
    building: Building, stranger: Person, signed_in: Any, page: str
) -> None:
    args = [building.pk, "ship"] if page == "sign_release" else [building.pk]
    client = signed_in(stranger)
    send = client.post if page == "create_instrument" else client.get
    assert send(url(page, *args)).status_code == 404


def test_a_finding_is_nobodys_who_is_not_on_its_job(
    low_pad: Finding, engineer: Person, stranger: Person, signed_in: Any
) -> None:
    made = order(low_pad, engineer)
    client = signed_in(stranger)
    assert client.get(url("finding", low_pad.pk)).status_code == 404
    for name, pk in (
        ("decide", low_pad.pk),
        ("request_remeasurement", low_pad.pk),
        ("carry_out", made.pk),
    ):
        assert client.post(url(name, pk)).status_code == 404
    assert low_pad.topic not in client.get(url("findings")).content.decode()


def test_a_release_is_nobodys_who_is_not_on_its_job(
    shipped: Release, stranger: Person, signed_in: Any
) -> None:
    assert signed_in(stranger).get(url("release", shipped.pk)).status_code == 404


@pytest.mark.parametrize("page", PAGES)
def test_pages_ask_for_sign_in(client: Client, building: Building, page: str) -> None:
    answer = client.get(url(page, building.pk))
    assert answer.status_code == 302
    assert reverse("sign-in") in answer["Location"]


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(
    "who", ["operations", "field_lead", "engineer", "administrator"]
)
def test_everyone_on_the_job_sees_the_pages_of_its_building(
    building: Building,
    low_pad: Finding,
    signed_in: Any,
    request: pytest.FixtureRequest,
    page: str,
    who: str,
) -> None:
    client = signed_in(request.getfixturevalue(who))
    assert client.get(url(page, building.pk)).status_code == 200


def test_what_a_role_may_not_do_is_forbidden(
    building: Building,
    low_pad: Finding,
    engineer: Person,
    field_lead: Person,
    administrator: Person,
    signed_in: Any,
) -> None:
    client = signed_in(field_lead)
    assert client.get(url("sign_release", building.pk, "ship")).status_code == 403
    given = {
        "choice": "accept",
        "disposition": "use_as_is",
        "note": "Fine.",
        "password": factories.PASSWORD,
    }
    assert client.post(url("decide", low_pad.pk), given).status_code == 403
    once_more = {"note": "Once more.", "password": factories.PASSWORD}
    asked = client.post(url("request_remeasurement", low_pad.pk), once_more)
    assert asked.status_code == 403
    made = order(low_pad, engineer)
    client = signed_in(engineer)
    done = {"at": now().strftime("%Y-%m-%dT%H:%M")}
    assert client.post(url("carry_out", made.pk), done).status_code == 403
    assert not Release.objects.exists()


# The sheet and the walk


def test_the_sheet_hides_what_the_plan_says_until_asked(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    hidden = client.get(url("blank_sheet", building.pk)).content.decode()
    assert "setback:S1.1" in hidden
    assert "data-mm" not in hidden
    shown = client.get(url("blank_sheet", building.pk), {"expected": "shown"})
    assert "data-mm" in shown.content.decode()


def test_what_is_expected_is_hidden_until_the_reading_is_in(
    building: Building, field_lead: Person, signed_in: Any, measure: Measure
) -> None:
    client = signed_in(field_lead)
    page = url("measure", building.pk) + "?section=wall:A-B"
    assert "data-mm" not in client.get(page).content.decode()
    measure(entry("wall:A-B", "66'"))
    assert 'data-mm="20116.800000"' in client.get(page).content.decode()


def test_readings_are_recorded_without_javascript(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    page = client.get(url("measure", building.pk), {"section": "wall:A-B"})
    lines = page.context["rows"]
    given: dict[str, str] = {"section": "wall:A-B", "unit": "ft", "crew": "crew 4"}
    for line in lines:
        given[f"client_id-{line.number}"] = line.client_id
    given |= {"typed-0": "66", "typed-1": "64' 0 1/16\"", "corner-1": "B"}
    answer = client.post(url("measure", building.pk), given, follow=True)
    assert answer.status_code == 200
    assert "2 readings recorded" in answer.content.decode()
    wall, line = Reading.objects.filter(building=building).order_by("pk")
    assert (wall.entered, wall.crew) == ("66 ft", "crew 4")
    assert line.entry["from"] == "B"
    client.post(url("measure", building.pk), given)
    assert Reading.objects.filter(building=building).count() == 2


def test_what_is_refused_comes_back_as_typed_beside_why(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    page = client.get(url("measure", building.pk), {"section": "wall:A-B"})
    given = {"section": "wall:A-B", "unit": "ft"}
    for line in page.context["rows"]:
        given[f"client_id-{line.number}"] = line.client_id
    given |= {"typed-0": "66' 14\"", "typed-1": "2"}
    answer = client.post(url("measure", building.pk), given)
    assert answer.status_code == 400
    first, second = answer.context["rows"][:2]
    assert first.typed == "66' 14\""
    assert first.errors
    assert not second.typed
    assert [r.entered for r in Reading.objects.all()] == ["2 ft"]


def test_a_sample_is_named_on_its_line(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    given = {
        "section": "strength",
        "strength_unit": "psi",
        "client_id-0": "c-1",
        "name-0": "F1",
        "typed-0": "3000",
    }
    client.post(url("measure", building.pk), given)
    reading = Reading.objects.get()
    assert (reading.check_key, reading.entered) == ("strength:F1", "3000 psi")
    page = client.get(url("measure", building.pk), {"section": "strength"})
    assert "Sample F1" in page.content.decode()


def test_a_correction_is_a_reading_that_replaces(
    building: Building, field_lead: Person, signed_in: Any, measure: Measure
) -> None:
    wrong = measure(entry("wall:A-B", "67'")).stored[0]
    client = signed_in(field_lead)
    given = {
        "section": "wall:A-B",
        "client_id-0": "c-2",
        "typed-0": "66'",
        "replaces-0": wrong.client_id,
    }
    client.post(url("measure", building.pk), given)
    assert Reading.objects.current().get(building=building).entered == "66'"
    page = client.get(url("reading_history", building.pk)).content.decode()
    assert "<s>67&#x27;</s>" in page
    assert f'href="#r{wrong.pk}"' in page


def test_after_a_repair_a_new_reading_replaces_the_old_unless_told_otherwise(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    signed_in: Any,
) -> None:
    made = order(low_pad, engineer)
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    client = signed_in(field_lead)
    page = client.get(url("measure", building.pk), {"section": "levels"})
    by_key = {line.check_key: line for line in page.context["rows"]}
    old = Reading.objects.get(check_key="level:S2")
    assert by_key["level:S2"].replaces == old.client_id
    assert by_key["level:S1"].replaces == ""


def test_an_instrument_is_added_from_the_walk(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    given = {"name": "T7", "kind": "steel tape", "accuracy": "II", "section": "levels"}
    answer = client.post(url("create_instrument", building.pk), given, follow=True)
    assert "T7 added to the job" in answer.content.decode()
    assert Instrument.objects.get().specification == {
        "kind": "steel tape",
        "class": "II",
    }
    again = client.post(url("create_instrument", building.pk), given, follow=True)
    assert "another name" in again.content.decode()


def test_the_record_is_read_in_as_many_queries_however_long_it_is(
    building: Building,
    field_lead: Person,
    signed_in: Any,
    measure: Measure,
    django_assert_max_num_queries: Any,
) -> None:
    entries = as_planned(building, "foundation")
    measure(*entries)
    client = signed_in(field_lead)
    with django_assert_max_num_queries(14):
        client.get(url("reading_history", building.pk))
    with django_assert_max_num_queries(18):
        client.get(url("measure", building.pk))


@pytest.mark.parametrize(
    ("key", "status"), [("strength:F9", 200), ("strength:\0", 404), ("level:ZZ", 404)]
)
def test_a_check_nobody_read_is_no_fault(
    building: Building,
    measure: Measure,
    field_lead: Person,
    signed_in: Any,
    key: str,
    status: int,
) -> None:
    measure(entry("level:S1", "1 m"))
    client = signed_in(field_lead)
    assert client.get(url("check", building.pk, key)).status_code == status
    told = client.get(url("reading_history", building.pk), {"check": key})
    assert told.status_code == 200
