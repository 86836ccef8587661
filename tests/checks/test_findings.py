"""Findings: they open and close by themselves, and otherwise by decision."""

import json
import threading
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import ProgrammingError, connection
from django.utils.timezone import now

from checks.models import CarriedOut, Decision, Evaluation, Finding, FindingEvent
from checks.services.errors import ConflictError
from checks.services.evaluation import evaluate_building, evaluate_due, mark_due
from checks.services.findings import ask_again, carry_out, decide
from checks.services.readings import record_readings
from core.models import Person
from jobs import services as jobs
from jobs.exchange.canonical import digest
from jobs.models import Building
from tests.checks.conftest import Measure, entry
from tests.sheds import shed

pytestmark = pytest.mark.django_db


def fresh(finding: Finding) -> Finding:
    return Finding.objects.get(pk=finding.pk)


def kinds(finding: Finding) -> list[str]:
    return [event.kind for event in finding.events.all()]


def index_of(finding: Finding, remedy: str) -> int:
    return [row["remedy"] for row in finding.remedies].index(remedy)


def order(finding: Finding, engineer: Person, **options: Any) -> Decision:
    """Order the shim of the low pad."""
    options.setdefault("disposition", "rework")
    options.setdefault("note", "Shim and grout.")
    if "choice" not in options:
        options["choice"] = index_of(finding, "shim")
    return decide(actor=engineer, finding=finding, **options)


def standing_id(measured: Any) -> str:
    return str(measured.stored[-1].client_id)


def level(value: str, replaces: str, at: datetime | None = None) -> dict[str, Any]:
    members = {"at": at.isoformat()} if at else {}
    return entry("level:S2", value, supersedes=replaces, **members)


def old_reading(building: Building) -> str:
    from checks.models import Reading

    rows = Reading.objects.filter(building=building, check_key="level:S2").standing()
    return rows.get().client_id


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
    mark_due(building)
    assert evaluate_due() == 1
    assert Evaluation.objects.filter(building=building).count() == 1
    assert kinds(low_pad) == ["opened"]


def test_another_program_version_evaluates_again(
    low_pad: Finding, building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("checks.services.evaluation.MADE_WITH", "padstone 99")
    evaluate_building(building.pk)
    assert Evaluation.objects.filter(building=building).count() == 2
    assert fresh(low_pad).evaluation.made_with == "padstone 99"


def test_a_finding_closes_when_later_readings_are_within(
    low_pad: Finding, building: Building, measure: Measure
) -> None:
    measure(level("1001 mm", old_reading(building)))
    finding = fresh(low_pad)
    assert finding.closing == Finding.Closing.WITHIN
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
    assert fresh(low_pad).closing == Finding.Closing.SUPERSEDED


# Decisions


def test_a_decision_freezes_what_it_was_based_on(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    made = Decision.objects.get(pk=made.pk)
    assert made.digest == digest(made.basis)
    assert [row["check"] for row in made.basis["checks"]] == ["level:S2"]
    (reading,) = made.basis["readings"]
    assert reading["entered"] == "1006 mm"
    assert reading["recorded_by"]["username"] == field_lead.username
    assert made.basis["made_with"] == low_pad.evaluation.made_with
    assert made.basis["plan"]["digest"] == low_pad.evaluation.revision.digest
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
            decide(
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
    assert fresh(low_pad).closing == Finding.Closing.ACCEPTED
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
    with pytest.raises(ValidationError, match="not accepted"):
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
    assert fresh(finding).closing == Finding.Closing.VERIFIED


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
    ask_again(actor=operations, finding=low_pad, note="Check the rod.")
    with pytest.raises(ConflictError, match="changed since"):
        order(low_pad, engineer, seen=seen)


def test_nothing_is_decided_while_readings_wait_to_be_evaluated(
    low_pad: Finding, building: Building, engineer: Person
) -> None:
    mark_due(building)
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
    with pytest.raises(ConflictError, match="looks at it again"):
        carry_out(actor=field_lead, decision=first, at=now())
    second = order(fresh(low_pad), engineer)
    assert fresh(low_pad).flagged_at is None
    with pytest.raises(ConflictError, match="Another decision"):
        carry_out(actor=field_lead, decision=first, at=now())
    carry_out(actor=field_lead, decision=second, at=now())
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT


# Carried out, and measured again


def test_carried_out_and_measured_within_is_verified(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    carry_out(actor=field_lead, decision=made, at=done, note="3 plates")
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT
    later = done + timedelta(minutes=1)
    measure(level("1000.5 mm", old_reading(building), at=later))
    finding = fresh(low_pad)
    assert finding.closing == Finding.Closing.VERIFIED
    assert kinds(finding) == ["opened", "decided", "carried_out", "closed"]


def test_carried_out_and_still_outside_asks_for_another_look(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    carry_out(actor=field_lead, decision=made, at=done)
    later = done + timedelta(minutes=1)
    measure(level("1005 mm", old_reading(building), at=later))
    finding = fresh(low_pad)
    assert finding.closed_at is None
    assert finding.flagged_at is not None


def test_a_reading_from_before_the_repair_verifies_nothing(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    carry_out(actor=field_lead, decision=made, at=done)
    earlier = done - timedelta(hours=1)
    measure(level("1000.5 mm", old_reading(building), at=earlier))
    assert fresh(low_pad).closed_at is None


def test_readings_that_came_in_before_the_report_still_verify_it(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    later = done + timedelta(minutes=1)
    measure(level("1006 mm", old_reading(building), at=later - timedelta(hours=1)))
    assert fresh(low_pad).flagged_at is None
    carry_out(actor=field_lead, decision=made, at=done)
    measure(level("1000.5 mm", old_reading(building), at=later))
    assert fresh(low_pad).closing == Finding.Closing.VERIFIED


def test_work_that_cannot_be_measured_within_is_accepted_by_the_engineer(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    carry_out(actor=field_lead, decision=made, at=now())
    with pytest.raises(ConflictError, match="already"):
        order(fresh(low_pad), engineer)
    order(fresh(low_pad), engineer, choice="accept", disposition="use_as_is")
    assert fresh(low_pad).closing == Finding.Closing.ACCEPTED


@pytest.mark.parametrize("off", [timedelta(hours=-1), timedelta(hours=1)])
def test_carried_out_is_neither_before_the_decision_nor_to_come(
    low_pad: Finding, engineer: Person, field_lead: Person, off: timedelta
) -> None:
    made = order(low_pad, engineer)
    with pytest.raises(ValidationError) as refused:
        carry_out(actor=field_lead, decision=made, at=now() + off)
    assert "at" in refused.value.error_dict
    assert not CarriedOut.objects.exists()


def test_the_engineer_does_not_report_the_work(
    low_pad: Finding, engineer: Person
) -> None:
    made = order(low_pad, engineer)
    with pytest.raises(PermissionDenied):
        carry_out(actor=engineer, decision=made, at=now())


# Asked again


def test_measured_again_and_still_outside_waits_for_the_engineer(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    ask_again(actor=engineer, finding=low_pad, note="The rod stood upside down?")
    assert fresh(low_pad).state == Finding.State.REMEASURE
    measure(entry("wall:A-B", "66'"))
    assert fresh(low_pad).state == Finding.State.REMEASURE
    measure(level("1006.5 mm", old_reading(building)))
    assert fresh(low_pad).state == Finding.State.OPEN


def test_asking_again_takes_back_a_decision(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    made = order(low_pad, engineer)
    ask_again(actor=engineer, finding=low_pad, note="Once more.")
    with pytest.raises(ConflictError, match="nothing to carry out"):
        carry_out(actor=building.job.opened_by, decision=made, at=now())
    measure(level("1001 mm", old_reading(building)))
    finding = fresh(low_pad)
    # It was decided once: it closes only when the engineer says so.
    assert finding.closed_at is None
    assert finding.flagged_at is not None


def test_asking_needs_a_reason_and_asks_once(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    with pytest.raises(ValidationError, match="Say what"):
        ask_again(actor=engineer, finding=low_pad, note=" ")
    with pytest.raises(PermissionDenied):
        ask_again(actor=field_lead, finding=low_pad, note="Why not.")
    ask_again(actor=engineer, finding=low_pad, note="Once more.")
    with pytest.raises(ConflictError, match="already"):
        ask_again(actor=engineer, finding=low_pad, note="Once more.")


def test_a_closed_finding_is_left_alone(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    measure(level("1001 mm", old_reading(building)))
    with pytest.raises(ConflictError, match="closed"):
        order(fresh(low_pad), engineer)
    with pytest.raises(ConflictError, match="closed"):
        ask_again(actor=engineer, finding=low_pad, note="Once more.")


# The record


@pytest.mark.parametrize(
    "table",
    [
        "checks_decision",
        "checks_carriedout",
        "checks_findingevent",
        "checks_evaluation",
    ],
)
@pytest.mark.parametrize("change", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_the_database_refuses_to_change_or_delete_what_was_decided(
    low_pad: Finding, engineer: Person, field_lead: Person, table: str, change: str
) -> None:
    made = order(low_pad, engineer)
    carry_out(actor=field_lead, decision=made, at=now())
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match="Cannot"):
        cursor.execute(change.format(table))


def test_a_basis_is_plain_json(low_pad: Finding, engineer: Person) -> None:
    made = order(low_pad, engineer)
    assert json.loads(json.dumps(made.basis)) == made.basis


def test_every_step_names_who_took_it(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    carry_out(actor=field_lead, decision=made, at=now())
    people = FindingEvent.objects.filter(finding=low_pad).values_list(
        "person", flat=True
    )
    assert list(people) == [None, engineer.pk, field_lead.pk]
