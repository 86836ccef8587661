"""The walk's page, what a phone keeps of it, and its way in."""

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from checks.evaluation.check_limits import compute_bounds
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.evaluate import evaluate
from checks.models import Reading
from checks.queries.offline_limits import OFFLINE_KINDS, compute_offline_limits
from checks.queries.walk import build_walk, choose_section
from checks.tolerances.basis import BASIS_NAMES
from checks.tolerances.limits import resolve_limits
from core.models import Person
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.exchange.input.parser import parse_building
from jobs.models import Building, Job
from tests import factories
from tests.checks.conftest import Measure, as_planned
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
WALL = {"id": "one", "check": "wall:A-B", "value": "66'"}


@pytest.fixture
def signed_in(client: Client) -> Any:
    def sign_in(person: Person) -> Client:
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in


def send(client: Client, building: Building, person: Person, *readings: object) -> Any:
    sent = {"person": person.pk, "readings": readings}
    return client.post(
        reverse("checks:sync_readings", args=[building.pk]), sent, "application/json"
    )


# The way in


def test_a_reading_sent_twice_is_stored_once_and_known_twice(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    for _ in range(2):
        answer = send(client, building, field_lead, WALL)
        assert answer.json() == {"known": ["one"], "refused": {}}
    assert Reading.objects.count() == 1


def test_what_is_refused_is_told_by_its_id_and_the_rest_is_stored(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    wrong = {"id": "two", "check": "wall:A-B", "value": "66' 14\""}
    answer = send(signed_in(field_lead), building, field_lead, wrong, WALL).json()
    assert answer["known"] == ["one"]
    assert "must be under 12" in answer["refused"]["two"][0]


def test_readings_of_another_person_are_not_taken(
    building: Building, field_lead: Person, operations: Person, signed_in: Any
) -> None:
    answer = send(signed_in(operations), building, field_lead, WALL)
    assert answer.status_code == 409
    assert not Reading.objects.exists()


def test_the_way_in_is_for_people_of_the_job_alone(
    building: Building, field_lead: Person, stranger: Person, client: Client
) -> None:
    assert send(client, building, field_lead, WALL).status_code == 302
    client.force_login(stranger, backend="django.contrib.auth.backends.ModelBackend")
    assert send(client, building, stranger, WALL).status_code == 404
    assert not Reading.objects.exists()


def test_the_way_in_asks_for_the_token_of_a_page(
    building: Building, field_lead: Person
) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    assert send(client, building, field_lead, WALL).status_code == 403


@pytest.mark.parametrize(
    "body",
    ["", "[]", "[" * 5000, '{"readings": 3}', '{"readings": [{}]}', b"\xff"],
)
def test_what_is_no_list_of_readings_is_refused(
    building: Building, field_lead: Person, signed_in: Any, body: str
) -> None:
    address = reverse("checks:sync_readings", args=[building.pk])
    answer = signed_in(field_lead).post(address, body, "application/json")
    assert answer.status_code == 400
    assert answer.json()["error"]


# What is kept


def test_the_worker_answers_for_the_whole_site_and_names_its_files(
    client: Client,
) -> None:
    answer = client.get("/worker.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert answer["Cache-Control"] == "no-cache"
    book = json.loads(
        answer.content.decode().split("self.OFFLINE = ")[1].split(";\n")[0]
    )
    assert book["version"]
    assert len(set(book["files"])) == len(book["files"])


def test_every_file_the_walk_names_is_kept(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    kept = client.get("/worker.js").content.decode()
    page = client.get(reverse("checks:measure", args=[building.pk])).content.decode()
    page += client.get(reverse("checks:offline")).content.decode()
    named = [part.split('"')[0] for part in page.split('="/static/')[1:]]
    assert len(named) > 10
    assert [name for name in named if f'"/static/{name}"' not in kept] == []


def test_the_page_shown_without_a_network_names_nobody(
    field_lead: Person, signed_in: Any
) -> None:
    page = signed_in(field_lead).get(reverse("checks:offline")).content.decode()
    assert str(field_lead) not in page


def test_a_walk_says_whose_page_it_is(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    answer = signed_in(field_lead).get(reverse("checks:measure", args=[building.pk]))
    assert answer["X-Padstone-Person"] == str(field_lead.pk)


# Where the walk stands


def test_the_walk_opens_at_the_first_section_with_something_unread(
    building: Building, measure: Measure
) -> None:
    assert choose_section(build_walk(building), "", "").key == "diagonals"
    read = as_planned(building, "foundation")
    measure(*[entry for entry in read if entry["check"].startswith("diagonal")])
    assert choose_section(build_walk(building), "", "").key == "wall:A-B"


def test_a_walk_with_nothing_left_says_so_and_opens_at_its_beginning(
    building: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    page = signed_in(field_lead).get(reverse("checks:measure", args=[building.pk]))
    assert page.context["section"].key == "diagonals"
    assert "Everything required is measured." in page.content.decode()


def test_bays_and_spans_are_optional_sections_after_the_patterns(
    building: Building, measure: Measure
) -> None:
    sections = {section.key: section for section in build_walk(building)}
    keys = list(sections)
    assert keys.index("bays") > max(i for i, key in enumerate(keys) if "pos" in key)
    assert keys[keys.index("bays") : keys.index("levels")] == ["bays", "spans"]
    assert [row.label for row in sections["bays"].rows][:2] == [
        "Bay S1 to S2, between reference lines",
        "Bay S2 to S3, between reference lines",
    ]
    assert [row.label for row in sections["spans"].rows] == [
        "Span S1 to N3, across the frame",
        "Span S2 to N2, across the frame",
        "Span S3 to N1, across the frame",
    ]
    assert sections["bays"].required_count == sections["bays"].remaining_count == 0
    measure({"id": "bay", "check": "bay:S2-S1", "value": "31' 1/4\""})
    row = next(s for s in build_walk(building) if s.key == "bays").rows[0]
    assert (row.verdict, row.reading_count) == ("outside", 1)


def test_a_bay_typed_on_the_walk_is_recorded_and_judged(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    address = reverse("checks:measure", args=[building.pk])
    visitor = signed_in(field_lead)
    page = visitor.get(f"{address}?section=bays").content.decode()
    assert "Bay S1 to S2" in page
    assert "optional" in page.lower()
    typed = {"section": "bays", "client_id-0": "one", "typed-0": "31' 1/16\""}
    assert visitor.post(address, typed).status_code == 302
    reading = Reading.objects.get(client_id="one")
    assert (reading.check_key, reading.entry["value"]) == ("bay:S1-S2", "31' 1/16\"")


def test_the_expected_value_is_not_told_before_the_reading(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    address = reverse("checks:measure", args=[building.pk])
    page = signed_in(field_lead).get(f"{address}?section=wall:A-B").content.decode()
    told = page.split('<ol class="unstyled-list entries">')[1].split("</ol>")[0]
    assert "plan" not in told
    assert "66\N{PRIME}" not in told


@pytest.mark.parametrize("basis", BASIS_NAMES)
def test_a_phone_is_given_the_limits_the_evaluation_judges_by(basis: str) -> None:
    plan = parse_building(shed(tolerances={"basis": basis})).plan
    checks = build_check_sheet(plan)
    plain = compute_offline_limits(plan, checks)
    table = CheckTable(parse_building(shed(tolerances={"basis": basis})))
    bounds = compute_bounds(
        plan, table, RodTable(plan), resolve_limits(plan.tolerances)
    )
    compared = 0
    for key, row in table.index.items():
        if table.checks[row].kind in OFFLINE_KINDS:
            found = plain[key]
            assert (found.lower, found.upper) == (bounds.lower[row], bounds.upper[row])
            compared += 1
    assert compared > 50
    pairs = [check.key for check in checks if check.kind in PAIR_KINDS]
    assert len(pairs) == 7  # four bays, three spans
    for key in pairs:
        assert (plain[key].lower, plain[key].upper) == (-3.175, 3.175)
    gages = [check.key for check in checks if check.kind is CheckKind.GAGE]
    assert plain.keys() >= set(gages)


def test_a_phone_takes_a_line_from_the_second_corner_as_the_evaluation_does() -> None:
    document = shed()
    mark, wall = document["positions"][0]["mark"], document["positions"][0]["wall"]
    second = wall.split("-")[1]
    document["readings"] = [
        {"id": "long", "check": f"wall:{wall}", "value": "66' 1/8\""},
        {"id": "line", "check": f"line:{mark}", "value": "40'", "from": second},
    ]
    building = parse_building(document)
    plain = compute_offline_limits(building.plan, build_check_sheet(building.plan))[
        f"line:{mark}"
    ]
    rows = {row["check"]: row for row in evaluate(building)["checks"]}
    assert rows[f"wall:{wall}"]["verdict"] == "within"
    assert plain.wall_length is not None
    phone = plain.wall_length - 40 * 304.8
    assert rows[f"line:{mark}"]["observed"] == pytest.approx(phone, abs=1e-6)


def test_a_phone_judges_nothing_by_guarded_acceptance() -> None:
    plan = parse_building(shed(tolerances={"guarded": True})).plan
    assert compute_offline_limits(plan, build_check_sheet(plan)) == {}


def test_a_reading_replaced_carries_its_reason_without_the_script_too(
    building: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    measure(WALL)
    typed = {
        "section": "wall:A-B",
        "client_id-0": "two",
        "typed-0": "66' 1/8\"",
        "replaces-0": "one",
        "note-0": "misread",
    }
    address = reverse("checks:measure", args=[building.pk])
    assert signed_in(field_lead).post(address, typed).status_code == 302
    assert Reading.objects.get(client_id="two").entry["note"] == "misread"


def test_a_metric_plan_is_shown_in_metric_until_the_reader_chooses(
    signed_in: Any, field_lead: Person, job: Job, operations: Person
) -> None:
    hall = shed(name="Metric hall", length_unit="mm")
    for corner in hall["outline"]:
        corner |= {axis: f"{corner[axis]} ft" for axis in ("x", "y")}
    building = factories.building(job, operations, hall)
    client = signed_in(field_lead)
    address = reverse("checks:blank_sheet", args=[building.pk])
    assert 'data-units="metric"' in client.get(address).content.decode()
    walk = client.get(reverse("checks:measure", args=[building.pk]))
    assert walk.context["details"]["degree"].value() == "degC"
    client.post(reverse("preferences"), {"units": "imperial"})
    assert 'data-units="imperial"' in client.get(address).content.decode()
