"""Decisions on findings: who may make them, and when they are looked at again."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.utils.timezone import now

from checks.models import Decision, Finding
from checks.services.errors import ConflictError
from checks.services.evaluation import evaluate_building
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from checks.services.readings import record_readings
from core.models import Person
from jobs import services as jobs
from jobs.evaluation_due import mark_evaluation_due
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import (
    fresh,
    index_of,
    kinds,
    level,
    old_reading,
    order,
    standing_id,
)
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


# Decisions


def test_what_waits_for_a_repeat_is_ordered_only_with_a_reason(
    building: Building, measure: Measure, engineer: Person
) -> None:
    rods = range(1, 5)
    measure(entry("line:S2", "33 ft", by="crew 1"))
    for rod in rods:
        along, inward = -63.5 if rod % 2 else 63.5, 177.8 if rod < 3 else 304.8
        measure(
            entry(f"setback:S2.{rod}", f"{inward + 12.0} mm", by="crew 1"),
            entry(f"offset:S2.{rod}", f"{along} mm", by="crew 1"),
        )
    finding = Finding.objects.get(building=building, topic="position:S2")
    assert finding.remedies[0]["follows"] == "ream"
    options = {"choice": index_of(finding, "ream"), "disposition": "rework"}
    with pytest.raises(ValidationError, match="S2, rod 1, setback; S2, rod 2"):
        order(finding, engineer, note=" ", **options)
    measure(
        *(
            entry(f"setback:S2.{rod}", f"{inward} mm", by="crew 2")
            for rod, inward in zip(rods, (189.8, 189.8, 316.8, 316.8), strict=True)
        )
    )
    finding = fresh(finding)
    assert finding.remedies[0]["remedy"] == "ream"
    order(finding, engineer, note="", choice=0, disposition="rework")


def test_a_repeat_that_confirms_an_order_does_not_flag_it(
    building: Building, measure: Measure, engineer: Person
) -> None:
    measure(entry("line:S2", "33 ft"))
    for rod in range(1, 5):
        along, inward = -63.5 if rod % 2 else 63.5, 177.8 if rod < 3 else 304.8
        measure(
            entry(f"setback:S2.{rod}", f"{inward + 12.0} mm", by="crew 1"),
            entry(f"offset:S2.{rod}", f"{along} mm", by="crew 1"),
        )
    finding = Finding.objects.get(building=building, topic="position:S2")
    choice = index_of(finding, "ream")
    order(finding, engineer, note="Seen it.", choice=choice, disposition="rework")
    for rod in range(1, 5):
        inward = 189.8 if rod < 3 else 316.8
        measure(entry(f"setback:S2.{rod}", f"{inward} mm", by="crew 2"))
    assert fresh(finding).flagged_at is None
    assert fresh(finding).remedies[0]["remedy"] == "ream"


def test_a_decision_freezes_what_it_was_based_on(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    made = Decision.objects.get(pk=made.pk)
    assert made.digest == sha256_of(made.snapshot)
    assert [row["check"] for row in made.snapshot["checks"]] == ["level:S2"]
    (reading,) = made.snapshot["readings"]
    assert reading["entered"] == "1006 mm"
    assert reading["recorded_by"]["username"] == field_lead.username
    assert made.snapshot["made_with"] == low_pad.evaluation.made_with
    assert made.snapshot["plan"]["digest"] == low_pad.evaluation.revision.digest
    assert made.remedy == low_pad.remedies[index_of(low_pad, "shim")]
    assert fresh(low_pad).state == Finding.State.DECIDED
    assert kinds(low_pad) == ["opened", "decided"]


def test_whoever_took_a_reading_cannot_decide_on_it(
    low_pad: Finding, building: Building, engineer: Person, operations: Person
) -> None:
    record_readings(
        actor=engineer, building=building, entries=[entry("level:S2", "1006 mm")]
    )
    with pytest.raises(PermissionDenied, match="You recorded"):
        order(low_pad, engineer)
    order(low_pad, operations)


def test_the_one_who_took_a_superseded_reading_cannot_decide_either(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    own = record_readings(
        actor=engineer, building=building, entries=[entry("level:S2", "1006 mm")]
    )
    measure(level("1006 mm", standing_id(own)))
    with pytest.raises(PermissionDenied, match="You recorded"):
        order(low_pad, engineer)


def test_what_the_field_may_do_is_ordered_by_operations_too(
    low_pad: Finding, operations: Person
) -> None:
    assert low_pad.remedies[index_of(low_pad, "shim")]["approval"] == "field"
    assert order(low_pad, operations).engineer == operations


@pytest.mark.parametrize("choice", ["refer", "accept"])
def test_everything_else_is_ordered_by_the_engineer_alone(
    low_pad: Finding,
    operations: Person,
    field_lead: Person,
    administrator: Person,
    choice: str,
) -> None:
    chosen = choice if choice == "accept" else index_of(low_pad, choice)
    disposition = "use_as_is" if choice == "accept" else "repair"
    for person in (operations, field_lead, administrator):
        with pytest.raises(PermissionDenied, match="engineer"):
            decide_finding(
                actor=person,
                finding=low_pad,
                choice=chosen,
                disposition=disposition,
                note="Fine.",
            )


def test_the_field_lead_orders_nothing(low_pad: Finding, field_lead: Person) -> None:
    with pytest.raises(PermissionDenied):
        order(low_pad, field_lead)


def test_accepting_as_is_closes_and_stays_closed(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    order(low_pad, engineer, choice="accept", disposition="use_as_is")
    assert fresh(low_pad).closed_reason == Finding.ClosedReason.ACCEPTED
    measure(entry("wall:A-B", "66'"))
    assert not Finding.objects.open().filter(building=building).exists()


def test_what_was_accepted_on_other_readings_opens_again(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    order(low_pad, engineer, choice="accept", disposition="use_as_is")
    measure(level("1009 mm", old_reading(building)))
    again = Finding.objects.open().get(building=building, topic="level:S2")
    assert "Accepted before" in again.events.get().note


@pytest.mark.parametrize(
    ("options", "member"),
    [
        ({"choice": 99}, "choice"),
        ({"choice": -1}, "choice"),
        ({"disposition": "use_as_is"}, "disposition"),
        ({"disposition": "paint it"}, "disposition"),
        ({"choice": "accept"}, "disposition"),
        ({"choice": "accept", "disposition": "use_as_is", "note": " "}, "note"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(
    low_pad: Finding, engineer: Person, options: dict[str, Any], member: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        order(low_pad, engineer, **options)
    assert set(refused.value.error_dict) == {member}
    assert fresh(low_pad).state == Finding.State.OPEN


def test_strength_is_never_accepted_as_it_is(
    building: Building, engineer: Person, measure: Measure
) -> None:
    measure(entry("strength:F1", "1200 psi"))
    finding = Finding.objects.get(building=building, topic="strength")
    with pytest.raises(ValidationError, match="cannot be accepted"):
        order(finding, engineer, choice="accept", disposition="use_as_is")


def test_waiting_for_strength_ends_when_the_strength_is_there(
    building: Building, operations: Person, measure: Measure
) -> None:
    day = now() - timedelta(days=10)
    measure(entry("strength:F1", "1200 psi", at=day.isoformat()))
    finding = Finding.objects.get(building=building, topic="strength")
    order(finding, operations, choice=index_of(finding, "wait_for_strength"))
    later = day + timedelta(days=9)
    measure(entry("strength:F2", "3000 psi", at=later.isoformat()))
    assert fresh(finding).closed_reason == Finding.ClosedReason.VERIFIED


def test_a_second_decision_is_told_of_the_first(
    low_pad: Finding, engineer: Person, operations: Person
) -> None:
    order(low_pad, engineer)
    with pytest.raises(ConflictError, match="Emery"):
        order(low_pad, operations)


def test_a_decision_on_a_page_that_is_out_of_date_is_refused(
    low_pad: Finding, engineer: Person, operations: Person
) -> None:
    seen = low_pad.events.get().pk
    request_remeasurement(actor=operations, finding=low_pad, note="Check the rod.")
    with pytest.raises(ConflictError, match="changed since"):
        order(low_pad, engineer, seen=seen)


def test_nothing_is_decided_while_readings_wait_to_be_evaluated(
    low_pad: Finding, building: Building, engineer: Person
) -> None:
    mark_evaluation_due(building)
    with pytest.raises(ConflictError, match="not evaluated"):
        order(low_pad, engineer)


@pytest.mark.django_db(transaction=True)
def test_two_deciding_at_once_make_one_decision(
    low_pad: Finding, engineer: Person, operations: Person
) -> None:
    together = threading.Barrier(2)
    told: list[object] = []

    def sign(person: Person) -> None:
        try:
            together.wait(timeout=30)
            told.append(order(low_pad, person))
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            told.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=sign, args=[p]) for p in (engineer, operations)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(type(each).__name__ for each in told) == ["ConflictError", "Decision"]
    assert Decision.objects.filter(finding=low_pad).count() == 1


# Flags


def test_a_reading_that_changes_its_basis_flags_a_decision(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    order(low_pad, engineer)
    measure(level("1009 mm", old_reading(building)))
    finding = fresh(low_pad)
    assert finding.flagged_at is not None
    assert finding.state == Finding.State.DECIDED
    assert kinds(finding) == ["opened", "decided", "flagged"]
    assert "level:S2" in finding.events.last().note
    building.refresh_from_db()
    assert building.undecided_findings == 1


def test_a_reading_elsewhere_leaves_a_decision_alone(
    low_pad: Finding, engineer: Person, measure: Measure
) -> None:
    order(low_pad, engineer)
    measure(entry("wall:A-B", "66'"))
    assert fresh(low_pad).flagged_at is None


def test_a_revision_of_its_limit_flags_a_decision(
    low_pad: Finding, building: Building, engineer: Person, operations: Person
) -> None:
    order(low_pad, engineer)
    tight = {"basis": "metal-building-practice", "overrides": {"pad_level": '1/16"'}}
    jobs.revise_plan(
        actor=operations,
        building=building,
        document=shed(tolerances=tight),
        note="",
    )
    evaluate_building(building.pk)
    assert fresh(low_pad).flagged_at is not None


def test_within_before_it_was_carried_out_asks_for_another_look(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    order(low_pad, engineer)
    measure(level("1001 mm", old_reading(building)))
    finding = fresh(low_pad)
    assert finding.closed_at is None
    assert finding.flagged_at is not None


def test_a_flagged_decision_is_decided_again_before_it_is_carried_out(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    first = order(low_pad, engineer)
    measure(level("1009 mm", old_reading(building)))
    with pytest.raises(ConflictError, match="reviews it"):
        report_work_done(actor=field_lead, decision=first, at=now(), note="Done.")
    second = order(fresh(low_pad), engineer)
    assert fresh(low_pad).flagged_at is None
    with pytest.raises(ConflictError, match="Another decision"):
        report_work_done(actor=field_lead, decision=first, at=now(), note="Done.")
    report_work_done(actor=field_lead, decision=second, at=now(), note="Done.")
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT
