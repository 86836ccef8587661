"""The pages of the record: who may open them, and what they do."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from checks.models import Decision, Finding, Instrument, Reading, Release
from checks.services.findings import report_work_done
from checks.services.releases import sign_release
from core.models import Person
from jobs import services as jobs
from jobs.models import Building
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh, index_of, order
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
PAGES = ["blank_sheet", "measure", "reading_history", "releases"]


@pytest.fixture
def signed_in(client: Client) -> Any:
    def sign_in(person: Person) -> Client:
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in


@pytest.fixture
def shipped(building: Building, measure: Measure, operations: Person) -> Release:
    """Give the signed steel release of a building on plan."""
    measure(*as_planned(building, "foundation", "verification"))
    return sign_release(actor=operations, building=building, kind="ship")


def url(name: str, *args: object) -> str:
    return reverse(f"checks:{name}", args=args)


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
    lines = page.context["lines"]
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
    for line in page.context["lines"]:
        given[f"client_id-{line.number}"] = line.client_id
    given |= {"typed-0": "66' 14\"", "typed-1": "2"}
    answer = client.post(url("measure", building.pk), given)
    assert answer.status_code == 400
    first, second = answer.context["lines"][:2]
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
    by_key = {line.key: line for line in page.context["lines"]}
    old = Reading.objects.get(check_key="level:S2")
    assert by_key["level:S2"].replaces == old.client_id
    assert by_key["level:S1"].replaces == ""


def test_an_instrument_is_added_from_the_walk(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    given = {"name": "T7", "kind": "steel tape", "accuracy": "II", "section": "levels"}
    answer = client.post(url("create_instrument", building.pk), given, follow=True)
    assert "T7 is on the job" in answer.content.decode()
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


# Findings


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
    assert "Why it came second" in page


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
    assert "Carry out" in page.content.decode()
    at = f"{page.context['carry_form']['at'].value():%Y-%m-%dT%H:%M}"
    answer = client.post(url("carry_out", made.pk), {"at": at, "note": "Done."})
    assert answer.status_code == 302
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT
    early = client.post(url("carry_out", made.pk), {"at": "2020-01-01T00:00"})
    assert early.status_code == 409


# Releases


def test_what_is_missing_is_listed_with_where_to_put_it_right(
    low_pad: Finding, building: Building, operations: Person, signed_in: Any
) -> None:
    client = signed_in(operations)
    page = client.get(url("releases", building.pk))
    assert f'href="{url("finding", low_pad.pk)}"' in page.content.decode()
    for gate in page.context["gates"]:
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
    assert "is signed by" in twice.content.decode()
    assert client.get(url("sign_release", building.pk, "lunch")).status_code == 404


def test_set_ups_that_do_not_close_are_told_where_shims_come_from_them(
    building: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    told = "The set-ups do not close:"
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
        gates = client.get(url("releases", building.pk)).context["gates"]
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
    assert "decided, to be carried out" in page
    assert f'<td class="small">{typed}</td>' in page
    assert old.client_id not in page
    assert "<b>Shim</b>, Emery: Shim and grout." in page


def test_a_release_that_waits_is_not_signed(
    building: Building, operations: Person, signed_in: Any
) -> None:
    page = url("sign_release", building.pk, "ship")
    answer = signed_in(operations).post(
        page, {"password": factories.PASSWORD}, follow=True
    )
    assert "waits for" in answer.content.decode()
    assert not Release.objects.exists()


def test_anyone_may_verify_a_digest(client: Client, shipped: Release) -> None:
    known = client.get(url("verify_digest", shipped.digest)).content.decode()
    assert "This release was signed here" in known
    typed = client.get(url("verify_release"), {"digest": f" {shipped.digest.upper()} "})
    assert "This release was signed here" in typed.content.decode()
    wrong = client.get(url("verify_release"), {"digest": "0" * 64}).content.decode()
    assert "No release has this digest" in wrong
    short = client.get(url("verify_release"), {"digest": "<b>"}).content.decode()
    assert "not a digest" in short
    assert client.get(url("verify_release")).status_code == 200
