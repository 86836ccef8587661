"""The one door in: what is stored, repeated and refused."""

import threading
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import ProgrammingError, connection
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import now

from checks.models import Evaluation, Instrument, Reading
from checks.services import evaluation
from checks.services.evaluation import evaluate_due_buildings
from checks.services.instruments import add_instrument
from checks.services.readings import record_readings
from core.models import Person
from jobs import services as jobs
from jobs.models import Building
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


def test_a_reading_is_stored_as_typed_beside_its_millimetres(
    measure: Measure, field_lead: Person
) -> None:
    given = entry("wall:A-B", "66' 0 1/8\"", by="crew 4", at="2026-04-02T09:30:00Z")
    recorded = measure(given)
    assert not recorded.refused
    stored = recorded.stored[0]
    stored.refresh_from_db()
    assert stored.entered == "66' 0 1/8\""
    assert stored.value == Decimal("20119.975")  # 792.125 in x 25.4 mm
    assert stored.entry == given
    assert stored.crew == "crew 4"
    assert stored.taken_at.isoformat() == "2026-04-02T09:30:00+00:00"
    assert stored.recorded_by == field_lead


def test_a_reading_without_a_time_was_taken_when_it_came(measure: Measure) -> None:
    before = now()
    assert before <= measure(entry("wall:A-B", "66'")).stored[0].taken_at <= now()


def test_a_key_named_from_the_other_end_is_stored_by_its_canonical_name(
    measure: Measure,
) -> None:
    stored = measure(entry("diagonal:C-A", "76' 2\"")).stored[0]
    assert stored.check_key == "diagonal:A-C"


def test_readings_are_judged_at_once(building: Building, measure: Measure) -> None:
    measure(entry("wall:A-B", "66'"))
    result = Evaluation.objects.get(building=building).result
    (row,) = (row for row in result["checks"] if row["check"] == "wall:A-B")
    assert row["verdict"] == "within"


def test_a_reading_sent_twice_is_one_reading(
    building: Building, measure: Measure
) -> None:
    given = entry("wall:A-B", "66'")
    first = measure(given).stored
    again = measure(dict(reversed(given.items())))
    assert again.repeated == first
    assert not again.stored
    assert not again.refused
    assert Reading.objects.filter(building=building).count() == 1


def test_a_reading_twice_in_one_upload_is_one_reading(measure: Measure) -> None:
    given = entry("wall:A-B", "66'")
    recorded = measure(given, given)
    assert len(recorded.stored) == 1
    assert recorded.repeated == recorded.stored


@pytest.mark.parametrize("at_once", [True, False])
def test_the_same_id_with_other_content_is_refused(
    measure: Measure, *, at_once: bool
) -> None:
    given = entry("wall:A-B", "66'")
    other = {**given, "value": "67'"}
    if at_once:
        recorded = measure(given, other)
        place = 1
    else:
        measure(given)
        recorded = measure(other)
        place = 0
    (refusal,) = recorded.refused
    assert refusal.pointer == f"/readings/{place}/id"
    assert "another reading" in refusal.message
    assert not recorded.stored


def test_blanks_around_an_id_do_not_make_another_reading(measure: Measure) -> None:
    given = entry("wall:A-B", "66'")
    measure(given)
    again = measure({**given, "id": f" {given['id']} "})
    assert len(again.repeated) == 1


def test_readings_without_ids_are_told_apart_and_known_again(
    building: Building, measure: Measure
) -> None:
    twice = [{"check": "wall:A-B", "value": "66'"}] * 2
    assert len(measure(*twice).stored) == 2
    assert len(measure(*twice).repeated) == 2
    assert Reading.objects.filter(building=building).count() == 2


def test_the_same_client_id_on_another_building_is_another_reading(
    building: Building, measure: Measure, field_lead: Person, operations: Person
) -> None:
    given = entry("wall:A-B", "66'")
    measure(given)
    other = factories.building(building.job, operations, shed(name="Second shed"))
    recorded = record_readings(actor=field_lead, building=other, entries=[given])
    assert len(recorded.stored) == 1


def test_one_refusal_keeps_the_whole_upload_out(
    building: Building, measure: Measure
) -> None:
    recorded = measure(
        entry("wall:A-B", "66'"),
        entry("wall:B-C", "38"),
        entry("wall:X-Y", "38'"),
        "wall:C-D 66'",
    )
    assert [refusal.pointer for refusal in recorded.refused] == [
        "/readings/1/value",
        "/readings/2/check",
        "/readings/3",
    ]
    assert not recorded.stored
    assert not Reading.objects.filter(building=building).exists()
    assert not Evaluation.objects.filter(building=building).exists()


def test_the_good_ones_are_kept_when_asked_for(measure: Measure) -> None:
    recorded = measure(
        entry("wall:B-C", "38"), entry("wall:A-B", "66'"), keep_good=True
    )
    assert [row.check_key for row in recorded.stored] == ["wall:A-B"]
    assert [refusal.pointer for refusal in recorded.refused] == ["/readings/0/value"]


@pytest.mark.parametrize(
    ("members", "pointer"),
    [
        ({"id": "i" * 65}, "/readings/0/id"),
        ({"by": "b" * 61}, "/readings/0/by"),
        ({"value": " " * 70 + "66'"}, "/readings/0/value"),
        ({"note": "a\x00b"}, "/readings/0/note"),
        ({"id": "a\x00b"}, "/readings/0/id"),
        ({"id": 7}, "/readings/0/id"),
        ({"id": ""}, "/readings/0/id"),
        ({"value": float("nan")}, "/readings/0/value"),
        ({"crew": "4"}, "/readings/0/crew"),
    ],
)
def test_what_the_record_cannot_keep_is_refused_by_its_place(
    measure: Measure, members: dict[str, Any], pointer: str
) -> None:
    recorded = measure(entry("wall:A-B", "66'") | members)
    assert {refusal.pointer for refusal in recorded.refused} == {pointer}


def test_a_check_of_another_building_is_refused(measure: Measure) -> None:
    (refusal,) = measure(entry("level:Q9", "1 m")).refused
    assert refusal.pointer == "/readings/0/check"
    assert "Q9" in refusal.message


def test_an_instrument_nobody_named_is_refused(measure: Measure) -> None:
    (refusal,) = measure(entry("wall:A-B", "66'", instrument="T7")).refused
    assert refusal.pointer == "/readings/0/instrument"
    assert "T7" in refusal.message


def test_an_instrument_of_the_job_or_of_the_plan_will_do(
    building: Building, measure: Measure, operations: Person, field_lead: Person
) -> None:
    tool = add_instrument(
        actor=field_lead,
        job=building.job,
        name="T7",
        specification={"kind": "steel tape", "class": "I"},
    )
    jobs.revise_plan(
        actor=operations,
        building=building,
        document=shed(instruments={"L2": {"kind": "optical level"}}),
        note="",
    )
    recorded = measure(
        entry("wall:A-B", "66'", instrument="T7"),
        entry("level:S1", "1 m", instrument="L2"),
    )
    assert [row.instrument for row in recorded.stored] == [tool, None]


def test_an_instrument_is_named_once_per_job(
    building: Building, field_lead: Person
) -> None:
    what = {"name": "T7", "specification": {"kind": "steel tape"}}
    add_instrument(actor=field_lead, job=building.job, **what)
    with pytest.raises(Exception, match="already"):
        add_instrument(actor=field_lead, job=building.job, **what)
    assert Instrument.objects.count() == 1


# Who


def test_who_is_not_on_the_job_records_nothing(
    building: Building, stranger: Person
) -> None:
    with pytest.raises(PermissionDenied):
        record_readings(
            actor=stranger, building=building, entries=[entry("wall:A-B", "66'")]
        )
    assert not Reading.objects.exists()


# The record holds


def test_readings_stay_when_the_evaluation_fails(
    building: Building, measure: Measure, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: object) -> dict[str, Any]:
        msg = "a fault in the arithmetic"
        raise ZeroDivisionError(msg)

    with monkeypatch.context() as patched:
        patched.setattr(evaluation, "evaluate", fails)
        assert len(measure(entry("wall:A-B", "66'")).stored) == 1
        building.refresh_from_db()
        assert building.evaluation_due_since is not None
        assert evaluate_due_buildings() == 0
    assert evaluate_due_buildings() == 1
    building.refresh_from_db()
    assert building.evaluation_due_since is None
    assert Evaluation.objects.filter(building=building).count() == 1
    assert evaluate_due_buildings() == 0


@pytest.mark.parametrize("change", ["UPDATE {} SET entered = '1'", "DELETE FROM {}"])
def test_the_database_refuses_to_change_or_delete_a_reading(
    measure: Measure, change: str
) -> None:
    measure(entry("wall:A-B", "66'"))
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match="Cannot"):
        cursor.execute(change.format("checks_reading"))


def test_a_hundred_readings_take_as_many_queries_to_store_as_one(
    building: Building,
    measure: Measure,
    django_assert_max_num_queries: Any,
) -> None:
    entries = as_planned(building, "foundation")
    measure(entries[0])
    with CaptureQueriesContext(connection) as few:
        measure(entries[1])
    # One more: the foundation is ready by them, and a stage that moves is announced.
    with django_assert_max_num_queries(len(few) + 1):
        assert len(measure(*entries[2:]).stored) > 60


@pytest.mark.django_db(transaction=True)
def test_the_same_upload_twice_at_the_same_time_is_stored_once(
    building: Building, field_lead: Person
) -> None:
    entries = as_planned(building, "foundation")[:20]
    together = threading.Barrier(4)
    results: list[Any] = []

    def upload() -> None:
        try:
            together.wait(timeout=30)
            results.append(
                record_readings(
                    actor=field_lead,
                    building=Building.objects.get(pk=building.pk),
                    entries=entries,
                )
            )
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            results.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=upload) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(len(result.stored) for result in results) == [0, 0, 0, 20]
    assert sorted(len(result.repeated) for result in results) == [0, 20, 20, 20]
    assert Reading.objects.filter(building=building).count() == 20


# What the plan in force makes of them


def test_a_bare_number_keeps_its_unit_when_the_plan_changes_its_own(
    building: Building, measure: Measure, operations: Person
) -> None:
    measure(entry("wall:A-B", 66))
    in_metres = shed(length_unit="m")
    for corner in in_metres["outline"]:
        corner["x"], corner["y"] = f"{corner['x']} ft", f"{corner['y']} ft"
    jobs.revise_plan(
        actor=operations, building=building, document=in_metres, note="in metres"
    )
    assert evaluate_due_buildings() == 1
    latest = Evaluation.objects.filter(building=building).first()
    assert latest is not None
    (row,) = (r for r in latest.result["checks"] if r["check"] == "wall:A-B")
    assert row["deviation"] == pytest.approx(0.0, abs=1e-9)


def test_a_reading_whose_position_is_gone_stays_in_the_record_only(
    building: Building, measure: Measure, operations: Person
) -> None:
    gone = entry("level:S3", "1 m")
    measure(entry("level:S1", "1 m"), gone)
    document = shed()
    document["positions"] = document["positions"][:2]
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    assert evaluate_due_buildings() == 1
    assert Reading.objects.filter(building=building).count() == 2
    again = measure(gone)
    assert len(again.repeated) == 1


@pytest.mark.parametrize(
    ("members", "pointer"),
    [
        ({"value": "2900 psi", "at": "2062-04-20T12:00:00Z"}, "at"),
        ({"value": "2900 psi", "at": "2026-04-07T15:00:00Z"}, "at"),
        ({"value": "2900 psi", "at": "2026-04-01T15:00:00Z"}, "at"),
        ({"value": "3000 MPa"}, "value"),
    ],
    ids=["to come", "on the day of placing", "before placing", "too strong"],
)
def test_a_sample_that_cannot_be_is_not_stored(
    members: dict[str, str], pointer: str, measure: Measure, building: Building
) -> None:
    recorded = measure(entry("strength:F1", **members))
    assert [each.pointer for each in recorded.refused] == [f"/readings/0/{pointer}"]
    assert not Reading.objects.filter(building=building).exists()


def test_a_time_within_ten_minutes_is_a_fast_clock(measure: Measure) -> None:
    soon = (now() + timedelta(minutes=9)).isoformat()
    late = (now() + timedelta(minutes=11)).isoformat()
    assert not measure(entry("level:S1", "1000 mm", at=soon)).refused
    assert measure(entry("level:S2", "1000 mm", at=late)).refused
