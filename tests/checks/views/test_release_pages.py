"""The pages of releases."""

from typing import Any

import pytest
from django.test import Client

from checks.models import Finding, Reading, Release
from checks.services.releases import sign_release
from core.models import Person
from jobs import services as jobs
from jobs.models import Building
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh, order
from tests.checks.views.addresses import url
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


def test_what_is_missing_is_listed_with_where_to_put_it_right(
    low_pad: Finding, building: Building, operations: Person, signed_in: Any
) -> None:
    client = signed_in(operations)
    page = client.get(url("releases", building.pk))
    assert f'href="{url("finding", low_pad.pk)}"' in page.content.decode()
    for gate in [card.gate for card in page.context["cards"]]:
        for item in gate.missing:
            assert client.get(item.url).status_code == 200


def test_a_release_is_signed_on_the_page_with_the_password(
    building: Building, operations: Person, signed_in: Any, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    client = signed_in(operations)
    page = url("sign_release", building.pk, "ship")
    assert client.get(page).status_code == 200
    assert client.post(page, {"password": "not this"}).status_code == 400
    assert not Release.objects.exists()
    answer = client.post(page, {"password": factories.PASSWORD, "note": "Load it."})
    release = Release.objects.get()
    assert answer["Location"] == release.get_absolute_url()
    shown = client.get(release.get_absolute_url()).content.decode()
    assert release.digest in shown
    assert "Notice to the erector" in shown
    twice = client.post(page, {"password": factories.PASSWORD}, follow=True)
    assert "signed already by" in twice.content.decode()
    assert client.get(url("sign_release", building.pk, "lunch")).status_code == 404


def test_set_ups_that_do_not_close_are_told_where_shims_come_from_them(
    building: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    told = "The level set-ups do not close:"
    client = signed_in(field_lead)
    pads = [("1", "S1", 1000), ("1", "S2", 1001), ("2", "S1", 1100), ("2", "N1", 1100)]
    sights = [entry(f"level:{mark}", f"{mm} mm", setup=of) for of, mark, mm in pads]
    measure(*sights)
    for page in ("levels", "shims"):
        assert told not in client.get(url(page, building.pk)).content.decode()
    measure(entry("level:S2", "1150 mm", setup="2"))
    for page in ("levels", "shims"):
        assert told in client.get(url(page, building.pk)).content.decode()


def test_several_findings_that_hold_a_release_are_where_its_link_leads(
    building: Building, measure: Measure, engineer: Person, signed_in: Any
) -> None:
    measure(
        entry("level:S1", "1000 mm"),
        entry("level:S2", "1006 mm"),
        entry("level:N1", "1007 mm"),
    )
    client = signed_in(engineer)
    open_ones = list(Finding.objects.filter(building=building))
    assert len(open_ones) > 1

    def led_to(words: str) -> set[int]:
        cards = client.get(url("releases", building.pk)).context["cards"]
        gates = [card.gate for card in cards]
        missing = next(gate for gate in gates if gate.kind == "erect").missing
        (item,) = (item for item in missing if words in item.text)
        return {row.pk for row in client.get(item.url).context["page"]}

    every = {finding.pk for finding in open_ones}
    assert led_to("need a decision") == every
    for finding in open_ones:
        order(finding, engineer)
    assert led_to("decided, work not done") == every


def test_a_release_of_an_earlier_plan_is_still_found(
    shipped: Release, building: Building, operations: Person, signed_in: Any
) -> None:
    client = signed_in(operations)
    link = f'<a href="{shipped.get_absolute_url()}">'
    page = client.get(url("releases", building.pk))
    assert not page.context["page"].object_list
    jobs.revise_plan(
        actor=operations, building=building, document=shed(name="Anew"), note=""
    )
    page = client.get(url("releases", building.pk))
    assert list(page.context["page"]) == [shipped]
    assert link in page.content.decode()


def test_a_signed_release_says_what_was_decided_in_words(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    operations: Person,
    measure: Measure,
    signed_in: Any,
) -> None:
    measure(*as_planned(building, "foundation"))
    old = Reading.objects.get(check_key="wall:A-B")
    typed = old.entered
    measure(entry("wall:A-B", typed, supersedes=old.client_id))
    order(fresh(low_pad), engineer)
    assert fresh(low_pad).events.last().note == "Shim, rework. Shim and grout."
    signed = sign_release(actor=operations, building=building, kind="pour")
    page = signed_in(operations).get(url("release", signed.pk)).content.decode()
    assert "decided, work not done" in page
    assert f'<td class="small">{typed}</td>' in page
    assert old.client_id not in page
    assert "<b>Shim</b>, Emery <br>Shim and grout." in " ".join(page.split())


def test_a_release_that_waits_is_not_signed(
    building: Building, operations: Person, signed_in: Any
) -> None:
    page = url("sign_release", building.pk, "ship")
    answer = signed_in(operations).post(
        page, {"password": factories.PASSWORD}, follow=True
    )
    assert "Not signed: it is blocked" in answer.content.decode()
    assert not Release.objects.exists()


def test_anyone_may_verify_a_digest(client: Client, shipped: Release) -> None:
    known = client.get(url("verify_digest", shipped.digest)).content.decode()
    assert "This release is genuine" in known
    typed = client.get(url("verify_release"), {"digest": f" {shipped.digest.upper()} "})
    assert "This release is genuine" in typed.content.decode()
    wrong = client.get(url("verify_release"), {"digest": "0" * 64}).content.decode()
    assert "No release has this digest" in wrong
    short = client.get(url("verify_release"), {"digest": "<b>"}).content.decode()
    assert "not a digest" in short
    assert client.get(url("verify_release")).status_code == 200
