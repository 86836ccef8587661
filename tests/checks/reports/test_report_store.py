"""Reports that are typeset once, in a process of their own, and kept for a while."""

import os
import resource
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from checks.models import Finding
from checks.queries.building_version import read_building_version
from checks.reports import report_store
from checks.reports.report_store import (
    build_report_key,
    load_report,
    measure_progress,
    request_report,
)
from checks.reports.status_report import compose_status_report, render_status_pdf
from checks.reports.typst_pdf import Report, TypesettingError
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from jobs.services import update_job
from tests.bench.building import build_document
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import order
from tests.factories import building as add_building

pytestmark = pytest.mark.django_db
MAX_GROWTH_BYTES = 40_000_000
MAX_REPORT_BYTES = 1_000_000


@pytest.fixture(autouse=True)
def store(tmp_path: Path, settings: Any) -> Iterator[Path]:
    settings.REPORT_FOLDER = tmp_path / "reports"
    yield tmp_path / "reports"
    until = time.monotonic() + 60
    while list((tmp_path / "reports").glob("*.job")) and time.monotonic() < until:
        time.sleep(0.05)


def resident_bytes() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize()


def test_this_process_does_not_grow_with_the_reports_it_answers(
    building: Building, measure: Measure
) -> None:
    if not Path("/proc/self/statm").exists():
        pytest.skip("no /proc here to read the memory of a process from")
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm"))
    render_status_pdf(building, now())
    before = resident_bytes()
    for _ in range(5):
        assert render_status_pdf(building, now()).startswith(b"%PDF-1.7")
    assert resident_bytes() - before < MAX_GROWTH_BYTES


def test_the_report_of_sixty_positions_is_at_most_a_megabyte(
    building: Building, operations: Person, field_lead: Person
) -> None:
    document = build_document(60)
    readings = document.pop("readings")
    hall = add_building(building.job, operations, document)
    record_readings(actor=field_lead, building=hall, entries=readings)
    assert len(render_status_pdf(hall, now())) < MAX_REPORT_BYTES


def test_a_report_is_typeset_once(building: Building) -> None:
    composed = []

    def compose() -> Report:
        composed.append(1)
        return compose_status_report(building, now())

    first = request_report("key", compose, 60)
    assert first is not None
    assert request_report("key", compose, 60) == first
    assert len(composed) == 1
    assert measure_progress("key") is None


def test_a_report_that_takes_longer_is_ready_later(building: Building) -> None:
    def compose() -> Report:
        return compose_status_report(building, now())

    assert request_report("key", compose, 0) is None
    assert measure_progress("key") is not None
    # Another request waits for the same process.
    assert request_report("key", pytest.fail, 60) == load_report("key")


def test_a_report_that_fails_says_why_and_is_tried_again(building: Building) -> None:
    def compose() -> Report:
        report = compose_status_report(building, now())
        object.__setattr__(report, "size", "no paper of this size")
        return report

    with pytest.raises(TypesettingError, match="paper"):
        request_report("key", compose, 60)
    assert (
        request_report("key", lambda: compose_status_report(building, now()), 60)
        is not None
    )


def test_an_old_report_is_typeset_again_and_removed(
    building: Building, store: Path
) -> None:
    def compose() -> Report:
        return compose_status_report(building, now())

    request_report("old", compose, 60)
    past = time.time() - report_store.MAX_AGE_S - 1
    os.utime(store / "old.pdf", (past, past))
    assert load_report("old") is None
    request_report("new", compose, 60)
    assert not (store / "old.pdf").exists()


def test_the_store_is_bounded(
    building: Building, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compose() -> Report:
        return compose_status_report(building, now())

    request_report("first", compose, 60)
    past = time.time() - 10
    os.utime(store / "first.pdf", (past, past))
    monkeypatch.setattr(report_store, "MAX_STORE_BYTES", 1)
    request_report("second", compose, 60)
    assert [path.name for path in store.glob("*.pdf")] == ["second.pdf"]


def test_abandoned_work_is_begun_again(
    building: Building, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (store / "key.job").mkdir(parents=True)
    monkeypatch.setattr(report_store, "ABANDONED_AFTER_S", -1)
    assert (
        request_report("key", lambda: compose_status_report(building, now()), 60)
        is not None
    )


def test_a_page_shows_progress_until_the_report_is_there(
    building: Building, field_lead: Person, client: Client, settings: Any
) -> None:
    client.force_login(field_lead)
    url = reverse("checks:building_pdf", args=[building.pk])
    settings.REPORT_WAIT_S = 0
    waiting = client.get(url)
    assert waiting.status_code == 202
    assert waiting["Refresh"] == "2"
    assert "being typeset" in waiting.content.decode()
    settings.REPORT_WAIT_S = 60
    ready = client.get(url)
    assert ready["Content-Type"] == "application/pdf"
    again = client.get(url, headers={"If-None-Match": ready["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_a_report_is_typeset_anew_after_a_change(
    building: Building,
    measure: Measure,
    engineer: Person,
    operations: Person,
) -> None:
    versions = [read_building_version(building)]

    def expect_another() -> None:
        versions.append(read_building_version(building))
        assert len(set(versions)) == len(versions)

    assert read_building_version(building) == versions[0]
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm"))
    expect_another()
    finding = Finding.objects.filter(building=building).first()
    assert finding is not None
    order(finding, engineer, choice=0, note="Shim it.")
    expect_another()
    job = building.job
    update_job(
        actor=operations,
        job=job,
        number=job.number,
        name="Another name",
        customer=job.customer,
        site=job.site,
        ship_date=job.ship_date,
    )
    expect_another()
    engineer.first_name = "Another"
    engineer.save(update_fields=["first_name"])
    expect_another()
    assert build_report_key("a", 1) != build_report_key("a", 2)
