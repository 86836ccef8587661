"""Status report, blank sheet and shim plan."""

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now

from checks.engine.reanchor import SCREEN_HEADING
from checks.models import Finding
from checks.reports.formatting import format_utc_time
from checks.reports.sheet_report import compose_sheet, render_sheet_pdf
from checks.reports.shim_report import render_shim_pdf
from checks.reports.status_report import compose_status_report, render_status_pdf
from checks.reports.typst_pdf import Report, build_files, render_pdf
from core.formatting import QuantityFormatter
from core.models import Person
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import index_of, order
from tests.checks.reports.conftest import ReadPdf

pytestmark = pytest.mark.django_db


def composed(report: Report) -> Any:
    """Return the input of typst, decoded."""
    return json.loads(build_files(report)["data.json"])


def test_a_building_nobody_measured_has_a_status(
    building: Building, text_of: ReadPdf
) -> None:
    words = text_of(render_status_pdf(building, now()))
    assert "Status report" in words
    assert "Not a release" in words
    assert "not measured" in words


def test_the_status_shows_findings_gates_and_the_notice(
    decided: Building, text_of: ReadPdf
) -> None:
    words = " ".join(text_of(render_status_pdf(decided, now())).split())
    for said in ("Rods at S1", "Erect release", "Notice to the erector", "Drill ½″"):
        assert said in words


def test_the_status_tells_what_is_proposed_with_its_cautions(
    building: Building, measure: Measure
) -> None:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm"))
    data = json.dumps(
        composed(compose_status_report(building, now())), ensure_ascii=False
    )
    assert "Pad S2" in data
    assert "Nobody under a plate while shims go in." in data


def test_the_sheet_lists_every_check_once_in_the_order_of_the_walk(
    building: Building,
) -> None:
    report = composed(compose_sheet(building, now(), expected=False))
    keys = [
        row[-1]["code"]
        for block in report["blocks"]
        if block["is"] == "table"
        for row in block["rows"]
        if isinstance(row[-1], dict)
    ]
    wanted = [
        check.key for check in build_check_sheet(load_plan(building.current_revision()))
    ]
    assert sorted(keys) == sorted(wanted)
    assert keys[0].startswith("diagonal:")


def test_a_sheet_tells_nothing_of_what_is_expected_unless_asked(
    building: Building, text_of: ReadPdf
) -> None:
    hidden, shown = (
        text_of(render_sheet_pdf(building, now(), expected=expected))
        for expected in (False, True)
    )
    for nominal in ("66′-0″", "38′-0″", "33′-0″"):  # noqa: RUF001 primes
        assert nominal in shown
        assert nominal not in hidden
    assert "Measured by" in hidden
    for told in ("7″", "2 1⁄2″", "3 1⁄2″", "2 1/2″"):  # noqa: RUF001 fraction slashes
        assert told not in hidden


def test_the_shim_plan_has_its_pack_list_and_its_caution(
    building: Building, measure: Measure, text_of: ReadPdf
) -> None:
    measure(
        entry("level:S1", "1000 mm"),
        entry("level:S2", "1009 mm"),
        entry("level:S3", "1040 mm"),
    )
    words = " ".join(text_of(render_shim_pdf(building, now())).split())
    assert "Nobody under a plate while shims go in." in words
    assert 'Pack list Thickness Plates 1/4"' in words
    assert "For the engineer: too low for shims. S3" in words
    assert "Not levelled yet: the pack list is not complete. N1, N2, N3" in words


def test_a_shim_plan_without_levels_says_so(
    building: Building, text_of: ReadPdf
) -> None:
    assert "No level is read yet" in text_of(render_shim_pdf(building, now()))


def test_every_page_has_its_number(building: Building, text_of: ReadPdf) -> None:
    pages = text_of(render_sheet_pdf(building, now())).split("\f")[:-1]
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page


def test_it_is_set_without_the_network_or_the_systems_fonts(
    building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HTTPS_PROXY", "http://127.0.0.1:1")
    monkeypatch.setenv("FONTCONFIG_FILE", "/nonexistent")
    report = compose_sheet(building, now(), expected=False)
    assert b"@preview" not in build_files(report)["main.typ"]
    assert render_pdf(report).startswith(b"%PDF-")


@pytest.mark.parametrize("name", ["building_pdf", "sheet_pdf", "shims_pdf"])
def test_its_page_links_each_and_hands_it_out(
    building: Building, measure: Measure, field_lead: Person, client: Client, name: str
) -> None:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm"))
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    address = reverse(f"checks:{name}", args=[building.pk])
    rooms = {"building_pdf": "building", "sheet_pdf": "checks:blank_sheet"}
    room = reverse(rooms.get(name, "checks:shims"), args=[building.pk])
    assert f'href="{address}"' in client.get(room).content.decode()
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_an_order_on_a_failed_replacement_is_printed_with_its_screen_and_its_heading(
    building: Building, measure: Measure, engineer: Person
) -> None:
    far = {"setback:S1.1": "150 mm"}
    measure(*as_planned(building, "foundation", **far))
    finding = Finding.objects.get(building=building, topic="position:S1")
    order(finding, engineer, choice=index_of(finding, "refer"))
    told = json.dumps(
        composed(compose_status_report(building, now())), ensure_ascii=False
    )
    assert "rod 1, screen of the replacement" in told
    assert SCREEN_HEADING in told
    assert "assumptions" not in told
    assert "heading A screen" not in told


def test_a_strength_is_written_in_the_units_of_the_building() -> None:
    """3000 psi = 20.684 MPa: 1 psi = 6.894757 kPa, NIST SP 811 (2008), B.8."""
    assert QuantityFormatter("imperial").format_strength(20.684271) == "3,000 psi"
    assert QuantityFormatter("metric").format_strength(20.684271) == "20.7 MPa"


def test_times_are_the_same_wherever_they_are_printed() -> None:
    assert format_utc_time("2026-03-09T09:05:00-05:00") == "9 Mar 2026, 14:05 UTC"
