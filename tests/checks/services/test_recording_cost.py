"""The cost of one recorded batch: queries, parsed plans and built check sheets."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.services.readings import record_readings
from core.models import Person
from jobs.anchor_plan import check_sheet
from jobs.models import Building
from jobs.plans import plan_cache
from tests.checks.conftest import Measure, as_planned, entry

pytestmark = pytest.mark.django_db
MAX_QUERIES = 41


def test_a_batch_parses_the_plan_once_and_builds_one_check_sheet(
    building: Building, field_lead: Person, measure: Measure, monkeypatch: Any
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    plan_cache._parse_stored.cache_clear()
    check_sheet._load_index.cache_clear()
    counts = {"plans": 0, "sheets": 0}
    parse, generate = plan_cache.parse_building, check_sheet.generate_checks

    def count_plans(document: object) -> Any:
        counts["plans"] += 1
        return parse(document)

    def count_sheets(plan: Any) -> Any:
        counts["sheets"] += 1
        return generate(plan)

    monkeypatch.setattr(plan_cache, "parse_building", count_plans)
    monkeypatch.setattr(check_sheet, "generate_checks", count_sheets)
    entries = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    with CaptureQueriesContext(connection) as queries:
        recorded = record_readings(actor=field_lead, building=building, entries=entries)
    assert len(recorded.stored) == 2
    assert counts == {"plans": 1, "sheets": 1}
    assert len(queries) <= MAX_QUERIES


def test_a_repeated_upload_evaluates_what_the_first_one_left_due(
    building: Building, measure: Measure, monkeypatch: Any
) -> None:
    entries = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    with monkeypatch.context() as broken:
        broken.setattr("checks.services.evaluation.evaluate", lambda _: 1 / 0)
        measure(*entries)
    building.refresh_from_db()
    assert building.evaluation_due_since is not None
    assert len(measure(*entries).repeated) == 2
    building.refresh_from_db()
    assert building.evaluation_due_since is None


def test_a_large_upload_is_evaluated_by_a_worker(
    building: Building,
    measure: Measure,
    settings: Any,
    django_capture_on_commit_callbacks: Any,
) -> None:
    settings.MAX_READINGS_EVALUATED_AT_ONCE = 2
    small = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    assert measure(*small).evaluation is not None
    large = [entry(f"level:{mark}", "1001 mm") for mark in ("N1", "N2", "N3")]
    with django_capture_on_commit_callbacks(execute=False) as queued:
        recorded = measure(*large)
    assert len(recorded.stored) == 3
    assert recorded.evaluation is None  # the verdict follows
    building.refresh_from_db()
    assert building.evaluation_due_since is not None
    for call in queued:
        call()
    building.refresh_from_db()
    assert building.evaluation_due_since is None
    assert building.evaluated_change == recorded.change
