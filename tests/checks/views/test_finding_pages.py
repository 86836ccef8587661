"""The pages of findings."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils.timezone import now

from checks.models import Decision, Finding
from core.models import Person
from jobs.models import Building
from tests import factories
from tests.checks.conftest import entry
from tests.checks.decided_findings import fresh, index_of, order
from tests.checks.evaluation.test_fit_up import stacked
from tests.checks.views.addresses import url
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


def test_the_queue_puts_what_steel_waits_for_first(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    operations: Person,
    field_lead: Person,
    signed_in: Any,
    django_assert_max_num_queries: Any,
) -> None:
    soon = factories.job(
        operations,
        field_lead=field_lead,
        engineer=engineer,
        ship_date=(now() + timedelta(days=3)).date(),
    )
    sooner = factories.building(soon, operations, shed(name="Ships first"))
    from checks.services.readings import record_readings

    record_readings(
        actor=field_lead,
        building=sooner,
        entries=[entry("level:S1", "1 m"), entry("level:N1", "1.02 m")],
    )
    client = signed_in(engineer)
    with django_assert_max_num_queries(12):
        page = client.get(url("findings"))
    assert [row.building_id for row in page.context["page"]] == [sooner.pk, building.pk]
    only = client.get(url("findings"), {"building": building.pk})
    assert [row.pk for row in only.context["page"]] == [low_pad.pk]
    back = f'<a href="{building.get_absolute_url()}">'
    assert back in only.content.decode().partition('id="content"')[2]
    closed = client.get(url("findings"), {"state": "closed"})
    assert not closed.context["page"].object_list
    for nonsense in (
        {"building": "x"},
        {"state": "y"},
        {"page": "z"},
        {"topic": "'"},
        {"job": "\0"},
    ):
        assert client.get(url("findings"), nonsense).status_code == 200


def test_a_finding_shows_readings_who_took_them_and_the_arithmetic(
    low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    page = signed_in(engineer).get(url("finding", low_pad.pk)).content.decode()
    assert "1006 mm" in page
    assert "recorded by Fern" in page
    assert "Proposed: Shim" in page
    assert "Why not proposed" in page


def test_the_engineer_decides_on_the_page_with_the_password(
    low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    given = {
        "choice": str(index_of(low_pad, "shim")),
        "disposition": "rework",
        "note": "Shim it.",
        "password": "not this",
        "seen": low_pad.events.get().pk,
    }
    refused = client.post(url("decide", low_pad.pk), given)
    assert refused.status_code == 400
    assert "not your password" in refused.content.decode()
    given["password"] = factories.PASSWORD
    assert client.post(url("decide", low_pad.pk), given).status_code == 302
    assert Decision.objects.get().note == "Shim it."
    late = client.post(url("decide", low_pad.pk), given)
    assert late.status_code == 409
    assert Decision.objects.count() == 1


def test_a_page_that_is_out_of_date_says_so(
    low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    seen = low_pad.events.get().pk
    client = signed_in(engineer)
    asked = {"note": "Once more.", "seen": seen, "password": "not this"}
    assert (
        client.post(url("request_remeasurement", low_pad.pk), asked).status_code == 400
    )
    asked["password"] = factories.PASSWORD
    assert (
        client.post(url("request_remeasurement", low_pad.pk), asked).status_code == 302
    )
    given = {
        "choice": str(index_of(low_pad, "shim")),
        "disposition": "rework",
        "password": factories.PASSWORD,
        "seen": seen,
    }
    answer = client.post(url("decide", low_pad.pk), given)
    assert answer.status_code == 409
    assert "changed since you opened it" in answer.content.decode()


def test_the_field_reports_on_the_page(
    low_pad: Finding, engineer: Person, field_lead: Person, signed_in: Any
) -> None:
    made = order(low_pad, engineer)
    client = signed_in(field_lead)
    page = client.get(url("finding", low_pad.pk))
    assert "Report work" in page.content.decode()
    at = f"{page.context['carry_form']['at'].value():%Y-%m-%dT%H:%M}"
    answer = client.post(url("carry_out", made.pk), {"at": at, "note": "Done."})
    assert answer.status_code == 302
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT
    early = client.post(url("carry_out", made.pk), {"at": "2020-01-01T00:00"})
    assert early.status_code == 409


def test_the_finding_on_fit_up_has_a_page_and_a_place_in_the_queue(
    job: Any, operations: Person, field_lead: Person, engineer: Person, signed_in: Any
) -> None:
    document = stacked()
    readings = [each | {"at": now().isoformat()} for each in document.pop("readings")]
    made = factories.building(job, operations, document | {"readings": []})
    from checks.services.readings import record_readings

    record_readings(actor=field_lead, building=made, entries=readings)
    found = Finding.objects.get(building=made, topic="fit_up")
    client = signed_in(engineer)
    page = client.get(url("finding", found.pk)).content.decode()
    assert "Fit-up of the steel" in page
    assert "bay S2 to S3 cannot keep its length" in page
    assert "holes to order" in page
    listed = client.get(url("findings"), {"building": made.pk}).content.decode()
    assert "Fit-up of the steel" in listed
    assert client.get(made.get_absolute_url()).status_code == 200
