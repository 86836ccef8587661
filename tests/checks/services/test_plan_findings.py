"""Findings on the plan itself: nothing is measured of them, a revision cures them."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils.timezone import now

from checks.models import Finding
from checks.services.bulk_decisions import (
    bulk_decide_findings,
    bulk_request_remeasurement,
    find_measured_by,
)
from checks.services.evaluation import evaluate_building
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from checks.services.hold_points import find_missing_requirements
from checks.services.releases import sign_release
from core.models import Person
from jobs import services as jobs
from jobs.models import Building, Job
from tests import factories
from tests.checks.conftest import Measure, as_planned
from tests.checks.decided_findings import fresh, kinds
from tests.checks.views.addresses import url
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
NOTE = "The plate is welded to a sole plate; the edge is not loaded."


def narrow(edge: str = '7/8"') -> dict[str, Any]:
    """Return the shed with less edge than the 1 in of a 3/4 in rod."""
    document = shed()
    document["details"]["M"]["plate"]["edge_distance"] = edge
    return document


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return a building whose plan is doubted, with nothing measured."""
    return factories.building(job, operations, narrow())


@pytest.fixture
def doubt(building: Building, measure: Measure) -> Finding:
    """Return the finding on the plan, everything measured on it."""
    measure(*as_planned(building, "foundation", "verification"))
    return Finding.objects.get(building=building)


def revise(building: Building, operations: Person, document: dict[str, Any]) -> None:
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    evaluate_building(building.pk)


def missing(building: Building, kind: str) -> list[str]:
    found = find_missing_requirements(Building.objects.get(pk=building.pk), kind)
    return [item.code.value for item in found]


def test_a_doubt_about_the_plan_holds_pour_and_shipment(
    doubt: Finding, building: Building
) -> None:
    assert (doubt.topic, doubt.checks, doubt.approval) == ("plan:M", [], "engineer")
    for kind in ("pour", "ship"):
        assert missing(building, kind) == ["undecided"]
    states = {stage.kind: stage.state for stage in building.stages.all()}
    assert states["foundation"] == "held"


def test_a_revision_of_the_plan_closes_it(
    doubt: Finding, building: Building, operations: Person
) -> None:
    revise(building, operations, shed())
    assert fresh(doubt).closed_reason == Finding.ClosedReason.REVISED
    assert kinds(fresh(doubt)) == ["opened", "closed"]
    assert missing(building, "ship") == []


def test_the_engineer_accepts_it_in_writing_until_the_plan_gets_worse(
    doubt: Finding,
    building: Building,
    engineer: Person,
    operations: Person,
    measure: Measure,
) -> None:
    arguments: dict[str, Any] = {
        "actor": engineer,
        "finding": doubt,
        "choice": "accept",
        "disposition": "use_as_is",
    }
    with pytest.raises(ValidationError, match="Write the reason"):
        decide_finding(**arguments)
    decide_finding(**arguments, note=NOTE)
    # The same doubt stays accepted, whatever else is revised.
    revise(building, operations, {**narrow(), "concrete": {}})
    assert not Finding.objects.filter(building=building).open()
    release = sign_release(actor=operations, building=building, kind="ship")
    (row,) = release.record["findings"]
    assert (row["finding"], row["checks"]) == ("plan:M", [])
    revise(building, operations, narrow('3/4"'))
    (again,) = Finding.objects.filter(building=building).open()
    assert "of the plan now: Detail M" in again.events.get().note


def test_an_ordered_revision_waits_for_the_plan_and_is_verified_by_it(
    doubt: Finding, building: Building, engineer: Person, operations: Person
) -> None:
    (decision,) = bulk_decide_findings(
        actor=engineer,
        findings=[doubt],
        choice="refer",
        disposition="rework",
        note="Widen the plate.",
    )
    assert missing(building, "erect")[-1] == "work_not_done"
    report_work_done(actor=operations, decision=decision, at=now(), note="Redrawn.")
    assert fresh(doubt).state == Finding.State.CARRIED_OUT
    revise(building, operations, narrow('15/16"'))
    assert fresh(doubt).flagged_at is not None
    revise(building, operations, shed())
    assert fresh(doubt).closed_reason == Finding.ClosedReason.REVISED


def test_nobody_is_asked_to_measure_it_and_who_measured_decides(
    doubt: Finding, engineer: Person, field_lead: Person
) -> None:
    assert find_measured_by(field_lead, [doubt]) == frozenset()
    for ask in (
        lambda: request_remeasurement(actor=engineer, finding=doubt, note="Again."),
        lambda: bulk_request_remeasurement(
            actor=engineer, findings=[doubt], note="Again."
        ),
    ):
        with pytest.raises(ValidationError, match="Nothing is measured"):
            ask()


def test_its_page_the_queue_and_the_tables_show_it(
    doubt: Finding, building: Building, engineer: Person, client: Client
) -> None:
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(url("finding", doubt.pk)).content.decode()
    assert "Plan, M" in page
    assert "Revise the plan, or accept it in writing." in page
    assert 'id="readings-head"' not in page
    assert "Request another measurement" not in page
    assert "Sign the decision" in page
    queue = client.get(url("findings")).content.decode()
    assert "Plan, M" in queue
    for address in (building.get_absolute_url(), url("bulk_decision", doubt.pk)):
        assert client.get(address, follow=True).status_code == 200
