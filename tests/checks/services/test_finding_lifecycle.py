"""Findings: they open and close by themselves, and keep their record."""

import json

import pytest
from django.db import ProgrammingError, connection
from django.utils.timezone import now

from checks.models import Evaluation, Finding, FindingEvent
from checks.services.evaluation import (
    evaluate_building,
    evaluate_due_buildings,
)
from checks.services.findings import report_work_done
from core.models import Person
from jobs import services as jobs
from jobs.evaluation_due import mark_evaluation_due
from jobs.models import Building
from tests.checks.conftest import Measure
from tests.checks.decided_findings import (
    fresh,
    kinds,
    level,
    old_reading,
    order,
)
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


# By itself


def test_a_finding_opens_when_a_verdict_turns_outside(
    low_pad: Finding, building: Building
) -> None:
    assert low_pad.state == Finding.State.OPEN
    assert low_pad.checks == ["level:S2"]
    assert low_pad.remedies[0]["remedy"] == "shim"
    assert kinds(low_pad) == ["opened"]
    building.refresh_from_db()
    assert (building.open_findings, building.undecided_findings) == (1, 1)


def test_an_evaluation_with_nothing_new_is_kept_and_changes_nothing(
    low_pad: Finding, building: Building
) -> None:
    mark_evaluation_due(building)
    assert evaluate_due_buildings() == 1
    assert Evaluation.objects.filter(building=building).count() == 1
    assert kinds(low_pad) == ["opened"]


def test_another_program_version_evaluates_again(
    low_pad: Finding, building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in ("evaluation", "evaluation_storage"):
        monkeypatch.setattr(f"checks.services.{module}.MADE_WITH", "padstone 99")
    evaluate_building(building.pk)
    assert Evaluation.objects.filter(building=building).count() == 2
    assert fresh(low_pad).evaluation.made_with == "padstone 99"


def test_a_finding_closes_when_later_readings_are_within(
    low_pad: Finding, building: Building, measure: Measure
) -> None:
    measure(level("1001 mm", old_reading(building)))
    finding = fresh(low_pad)
    assert finding.closed_reason == Finding.ClosedReason.WITHIN
    assert kinds(finding) == ["opened", "closed"]


def test_a_topic_that_comes_back_opens_another_finding(
    low_pad: Finding, building: Building, measure: Measure
) -> None:
    measure(level("1001 mm", old_reading(building)))
    measure(level("1007 mm", old_reading(building)))
    assert Finding.objects.filter(building=building).count() == 2
    assert Finding.objects.open().get(building=building).pk != low_pad.pk


def test_a_revision_without_the_position_supersedes_its_finding(
    low_pad: Finding, building: Building, operations: Person
) -> None:
    document = shed()
    del document["positions"][1]
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    evaluate_building(building.pk)
    assert fresh(low_pad).closed_reason == Finding.ClosedReason.SUPERSEDED


# The record


@pytest.mark.parametrize(
    "table",
    [
        "checks_decision",
        "checks_workreport",
        "checks_findingevent",
        "checks_evaluation",
    ],
)
@pytest.mark.parametrize("change", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_the_database_refuses_to_change_or_delete_what_was_decided(
    low_pad: Finding, engineer: Person, field_lead: Person, table: str, change: str
) -> None:
    made = order(low_pad, engineer)
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match="Cannot"):
        cursor.execute(change.format(table))


def test_a_basis_is_plain_json(low_pad: Finding, engineer: Person) -> None:
    made = order(low_pad, engineer)
    assert json.loads(json.dumps(made.snapshot)) == made.snapshot


def test_every_step_names_who_took_it(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    people = FindingEvent.objects.filter(finding=low_pad).values_list(
        "person", flat=True
    )
    assert list(people) == [None, engineer.pk, field_lead.pk]
