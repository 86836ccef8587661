"""Readings that this process has seen are not loaded or parsed again."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from checks import recorded_rows
from checks.evaluation_input import digest_document, load_evaluation_input
from checks.models import Reading
from checks.reading_times import load_reading_times
from checks.recorded_rows import BuildingRows, keep_rows, load_rows
from checks.services.withdrawals import withdraw_reading
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, entry

pytestmark = pytest.mark.django_db


def test_only_newer_readings_are_asked_for(
    building: Building, measure: Measure
) -> None:
    measure(entry("level:S1", "1000 mm"))
    first = load_evaluation_input(building)
    measure(entry("level:S2", "1001 mm"))
    with CaptureQueriesContext(connection) as queries:
        second = load_evaluation_input(building)
    loading = [
        each["sql"] for each in queries if '"checks_reading"."entry"' in each["sql"]
    ]
    assert len(loading) == 1
    assert '"checks_reading"."id" >' in loading[0]
    # The very same values: nothing was parsed again.
    assert second.building.readings[0] is first.building.readings[0]
    assert len(second.building.readings) == 2


def test_it_is_what_a_fresh_process_loads(
    building: Building, field_lead: Person, measure: Measure
) -> None:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1001 mm"))
    load_evaluation_input(building)
    measure(entry("level:S2", "1002 mm"))
    row = Reading.objects.filter(building=building).earliest("pk")
    withdraw_reading(actor=field_lead, reading=row, reason="Misread.")
    kept = load_evaluation_input(building)
    recorded_rows.forget_rows()
    fresh = load_evaluation_input(building)
    assert kept.document == fresh.document
    assert kept.digest == fresh.digest == digest_document(fresh.document)
    assert kept.building == fresh.building
    assert kept.times == fresh.times == load_reading_times(building)


def test_a_reading_that_was_rolled_back_is_forgotten(
    building: Building, measure: Measure
) -> None:
    measure(entry("level:S1", "1000 mm"))
    with transaction.atomic():
        measure(entry("level:S2", "1001 mm"))
        assert len(load_evaluation_input(building).building.readings) == 2
        transaction.set_rollback(True)
    assert len(load_evaluation_input(building).building.readings) == 1
    measure(entry("level:S2", "1002 mm"))
    values = [each.value for each in load_evaluation_input(building).building.readings]
    assert values == [1000.0, 1002.0]


def test_a_process_keeps_no_more_than_its_share(
    building: Building, measure: Measure, monkeypatch: pytest.MonkeyPatch
) -> None:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1001 mm"))
    rows = load_rows(building.pk)
    monkeypatch.setattr(recorded_rows, "MAX_KEPT_ROWS", 5)
    recorded_rows.forget_rows()
    for number in range(4):
        keep_rows(number, BuildingRows(rows.rows))
    assert recorded_rows.count_kept_rows() <= 5
