"""What the page of a building says of its fit-up."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from checks.models import Evaluation, EvaluationSupplement, Finding, Reading
from checks.queries.evaluated_plan import load_evaluated_plan
from checks.queries.fit_up_panel import (
    FitUpPanel,
    build_fit_up_panel,
    describe_chance,
)
from checks.services.readings import record_readings
from checks.services.result_supplements import supplement_latest_evaluations
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.evaluation.test_fit_up import read_group, stacked

pytestmark = pytest.mark.django_db


@pytest.fixture
def stacked_hall(job: Job, operations: Person, field_lead: Person) -> Building:
    """Return a hall whose tolerances stack: bay S2 to S3 lacks an eighth."""
    document = stacked()
    readings = document.pop("readings")
    hall = factories.building(job, operations, document)
    done = record_readings(actor=field_lead, building=hall, entries=readings)
    assert not done.refused
    return hall


def panel_of(building: Building) -> FitUpPanel:
    panel = build_fit_up_panel(load_evaluated_plan(building))
    assert panel is not None
    return panel


def open_page(client: Client, person: Person, building: Building) -> str:
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client.get(reverse("building", args=[building.pk])).content.decode()


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.0, "<0.1%"),
        (0.0004, "<0.1%"),
        (0.03, "3.0%"),
        (0.1, "about 1 in 10 (10.0%)"),
        (0.334, "about 1 in 3 (33.4%)"),
        (0.762, "about 3 in 4 (76.2%)"),
        (0.95, "about 9 in 10 (95.0%)"),
        (0.97, "97.0%"),
        (1.0, ">99.9%"),
    ],
)
def test_a_chance_is_a_share_and_a_percentage(probability: float, text: str) -> None:
    assert describe_chance(probability) == text


def test_the_panel_tells_the_bay_from_a_plate_that_does_not_go_on_alone(
    client: Client, job: Job, operations: Person, field_lead: Person
) -> None:
    document = stacked()
    readings = document["readings"] = [
        each
        for each in document["readings"]
        if not each["check"].split(":")[1].startswith("N2")
    ]
    read_group(document, "N2", along=20.0)
    for number, each in enumerate(readings):
        each["id"] = f"s{number}"
    del document["readings"]
    hall = factories.building(job, operations, document)
    assert not record_readings(
        actor=field_lead, building=hall, entries=readings
    ).refused
    panel = panel_of(hall)
    assert (panel.worst, panel.alone) == ("Bay S2 to S3", ["N2"])
    # The finding writes the same sixteenth; the worst holes are those of N2.
    assert panel.worst_misfit == pytest.approx(1.5875, abs=1e-3)
    assert panel.misfit > 1.6
    page = open_page(client, operations, hall)
    assert "The worst holes lack, N2 included" in page
    assert "its holes lack" in page


def test_a_misfit_names_the_bay_its_length_and_the_plates_to_open(
    stacked_hall: Building,
) -> None:
    panel = panel_of(stacked_hall)
    assert panel.worst == "Bay S2 to S3"
    assert panel.missing == pytest.approx(3.175, abs=1e-3)
    assert panel.misfit == pytest.approx(1.5875, abs=1e-3)
    # Either plate would do: one is opened, not both.
    assert [plate["mark"] for plate in panel.open] in (["S3"], ["S2"])
    assert (panel.verdict, panel.state) == ("outside", "pending")
    assert panel.label == "Does not go together as measured"
    assert panel.probability == ""


def test_with_the_probability_the_conclusion_is_not_settled(
    stacked_hall: Building,
) -> None:
    supplement_latest_evaluations()
    panel = panel_of(stacked_hall)
    assert (panel.verdict, panel.label) == ("remeasure", "Not settled")
    assert panel.state == "computed"
    assert panel.probability.removesuffix(")").endswith("%")
    assert "before anything is cut" in panel.sentence
    assert "S2" in panel.deciding
    assert "S3" in panel.deciding


def test_a_building_on_plan_goes_together(building: Building, measure: Measure) -> None:
    measure(*as_planned(building, "foundation"))
    panel = panel_of(building)
    assert (panel.verdict, panel.label) == ("within", "Goes together as measured")
    assert panel.slack > 3.0
    assert panel.worst == ""
    assert panel.missing is None
    assert panel.grid is None
    supplement_latest_evaluations()
    assert panel_of(building).label == "Goes together"


def test_positions_left_out_are_named_with_the_reason(
    building: Building, measure: Measure
) -> None:
    read = as_planned(building, "foundation")
    gone = ("line:S1", "setback:S2.1", "setback:S3.1")
    measure(*[each for each in read if each["check"] not in gone])
    assert panel_of(building).left_out == [
        "S1: reference line not measured",
        "S2, S3: a rod not determined",
    ]


def test_a_plate_that_does_not_go_on_alone_is_named(
    building: Building, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation", **{"setback:S1.1": '9"'}))
    panel = panel_of(building)
    assert panel.alone == ["S1"]
    assert panel.verdict == "outside"


def test_without_a_position_fully_measured_there_is_no_panel(
    building: Building, measure: Measure
) -> None:
    measure(entry("wall:A-B", "66'"))
    assert build_fit_up_panel(load_evaluated_plan(building)) is None


def test_a_probability_that_does_not_come_is_said_to_be_late(
    stacked_hall: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = now() + timedelta(minutes=11)
    monkeypatch.setattr("checks.queries.fit_up_panel.now", lambda: later)
    assert panel_of(stacked_hall).state == "late"


def test_it_is_not_late_while_workers_are_busy_with_other_buildings(
    stacked_hall: Building,
    building: Building,
    measure: Measure,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    later = now() + timedelta(minutes=11)
    monkeypatch.setattr("checks.queries.fit_up_panel.now", lambda: later)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    other = Evaluation.objects.filter(building=building).latest("pk")
    EvaluationSupplement.objects.create(evaluation=other, members={})
    assert panel_of(stacked_hall).state == "pending"


def test_the_page_shows_it_while_it_is_computed_and_afterwards(
    client: Client, field_lead: Person, stacked_hall: Building
) -> None:
    page = open_page(client, field_lead, stacked_hall)
    assert "Does not go together as measured" in page
    assert "being computed" in page
    assert "Bay S2 to S3" in page
    assert "Tolerances of the members themselves" in page
    assert 'class="pair worst"' in page
    supplement_latest_evaluations()
    page = open_page(client, field_lead, stacked_hall)
    assert "Not settled" in page
    assert "being computed" not in page


def test_the_supplement_costs_the_page_no_query(
    client: Client,
    field_lead: Person,
    stacked_hall: Building,
    django_assert_num_queries: Any,
) -> None:
    with django_assert_num_queries(2):
        before = load_evaluated_plan(stacked_hall)
        assert before.result
    supplement_latest_evaluations()
    with django_assert_num_queries(2):
        after = load_evaluated_plan(stacked_hall)
        assert after.result
        assert build_fit_up_panel(after)


def test_a_misfit_that_a_line_explains_follows_from_its_finding(
    stacked_hall: Building, field_lead: Person, client: Client, engineer: Person
) -> None:
    before = Finding.objects.get(building=stacked_hall, topic="fit_up")
    corrections = [
        ("line:S2", 8000 + 12.0),
        *((f"offset:S2.{rod}", along) for rod, along in enumerate((-60, 60) * 2, 1)),
        ("line:S3", 16000),
        *((f"offset:S3.{rod}", along) for rod, along in enumerate((-60, 60) * 2, 1)),
    ]
    current = {
        row.check_key: row.client_id
        for row in Reading.objects.filter(building=stacked_hall).current()
    }
    done = record_readings(
        actor=field_lead,
        building=stacked_hall,
        entries=[
            entry(check, value, supersedes=current[check])
            for check, value in corrections
        ],
    )
    assert not done.refused
    assert panel_of(stacked_hall).explained_by == ["Rods at S2"]
    before.refresh_from_db()
    assert (before.state, before.closed_reason) == ("closed", "consequence")
    finding = Finding.objects.get(building=stacked_hall, closed_at=None)
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(finding.get_absolute_url()).content.decode()
    assert "Fit-up of the steel. No" in page
