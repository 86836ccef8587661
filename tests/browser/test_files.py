"""Files brought in the browser: shown in place, chosen about, and then stored."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from checks.models import Reading
from core.models import Person
from jobs.exchange.tables.example_building import build_example_document
from jobs.exchange.tables.table_files import write_plan_table
from jobs.models import Building, Job
from jobs.plans.plan_cache import load_plan
from tests.browser.conftest import beside, sign_in
from tests.browser.test_accessible import SHOWN, wrong
from tests.checks.evaluation.test_survey_readings import lines
from tests.jobs.exchange.test_dxf import as_bytes, other_drawing

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

expect.set_options(timeout=20_000)  # the first file loads a library, on a busy machine

OPEN_ALL = "document.querySelectorAll('main details').forEach(fold => fold.open = true)"


def choose(page: Page, name: str, content: bytes) -> None:
    page.set_input_files("#id_file", {"name": name, "mimeType": "", "buffer": content})


@pytest.fixture
def desk(browser: Browser, live_server: Any, operations: Person) -> Page:
    page = browser.new_page(**SHOWN["desk"])
    sign_in(page, live_server.url, operations)
    return page


def test_a_drawing_is_shown_at_once_read_as_chosen_and_stored(
    desk: Page, live_server: Any, job: Job
) -> None:
    desk.goto(f"{live_server.url}{reverse('jobs:import_building', args=[job.pk])}")
    choose(desk, "hay_shed.dxf", as_bytes(other_drawing(units=0)))
    expect(desk.get_by_text("does not name its unit")).to_be_visible()
    desk.select_option("#id_unit", "in")
    expect(desk.get_by_role("heading", name="hay shed")).to_be_visible()
    desk.select_option("#id_rods", "S-MARK")
    expect(desk.get_by_text("There are no rods on the layer S-MARK")).to_be_visible()
    desk.select_option("#id_rods", "S-BOLTS")
    expect(desk.get_by_text("3 positions, 12 rods")).to_be_visible()
    desk.get_by_role("button", name="Save building").click()
    desk.wait_for_url("**/plan/")
    made = beside(lambda: Building.objects.get(name="hay shed").current_revision())
    assert [each.mark for each in load_plan(made).positions] == ["A2", "A3", "K1"]


def test_what_is_mended_in_the_text_counts_and_not_the_file_it_came_from(
    desk: Page, live_server: Any, job: Job
) -> None:
    desk.goto(f"{live_server.url}{reverse('jobs:import_building', args=[job.pk])}")
    text = json.dumps(build_example_document())
    choose(desk, "plan.json", text.encode())
    expect(desk.get_by_role("heading", name="Example shed")).to_be_visible()
    desk.locator("summary", has_text="Document").click()
    desk.fill("#id_document", text.replace("Example shed", "Mended shed"))
    desk.get_by_role("button", name="Save building").click()
    expect(desk.get_by_role("heading", name="Mended shed")).to_be_visible()
    desk.get_by_role("button", name="Save building").click()
    desk.wait_for_url("**/plan/")
    assert beside(lambda: Building.objects.filter(name="Mended shed").exists())


def test_a_file_mended_and_chosen_again_is_read_again(
    desk: Page, live_server: Any, job: Job, tmp_path: Path
) -> None:
    desk.goto(f"{live_server.url}{reverse('jobs:import_building', args=[job.pk])}")
    for name in ("Example shed", "Mended shed"):
        plan = {**build_example_document(), "name": name}
        (tmp_path / "plan.csv").write_bytes(write_plan_table(plan, ".csv"))
        with desk.expect_file_chooser() as chooser:
            desk.click("#id_file")
        chooser.value.set_files(tmp_path / "plan.csv")
        expect(desk.get_by_role("heading", name=name)).to_be_visible()


def test_back_from_a_filter_shows_the_jobs_and_what_they_were_asked_by(
    desk: Page, live_server: Any, job: Job
) -> None:
    desk.goto(f"{live_server.url}{reverse('jobs:list')}")
    desk.locator("#id_text").press_sequentially(job.number)
    expect(desk.get_by_text("1 matching")).to_be_visible()
    desk.locator("#id_text").press_sequentially(" nothing is called so")
    expect(desk.get_by_text("No jobs match")).to_be_visible()
    desk.go_back()
    expect(desk.get_by_role("heading", name=job.number)).to_be_visible()
    expect(desk.locator("#id_text")).to_have_value(job.number)


def test_errors_of_a_workbook_are_shown_at_once(
    desk: Page, live_server: Any, job: Job
) -> None:
    document = build_example_document()
    document["positions"][1]["detail"] = "Z"
    desk.goto(f"{live_server.url}{reverse('jobs:import_building', args=[job.pk])}")
    choose(desk, "plan.xlsx", write_plan_table(document, ".xlsx"))
    expect(desk.get_by_text("Positions G3")).to_be_visible()
    choose(desk, "plan.xlsx", write_plan_table(build_example_document(), ".xlsx"))
    expect(desk.get_by_role("heading", name="Example shed")).to_be_visible()
    expect(desk.get_by_text("Positions G3")).to_have_count(0)


def test_a_survey_is_fitted_at_once_and_recorded(
    page: Page, live_server: Any, building: Building
) -> None:
    page.goto(f"{live_server.url}{reverse('checks:survey_points', args=[building.pk])}")
    page.select_option("#id_unit", "m")
    text = "\n".join(lines({"C": (900.0, 0.0, 0.0)}))
    choose(page, "shed.txt", text.encode())
    expect(page.get_by_text("more than 100 mm")).to_be_visible()
    page.get_by_label("Exclude 103").check()
    page.get_by_role("button", name="Record these readings").click()
    page.wait_for_url("**/record/")
    assert beside(lambda: Reading.objects.count()) == 67


@pytest.mark.parametrize("shown", SHOWN)
def test_no_page_that_takes_files_breaks_a_rule_that_a_program_can_tell(
    shown: str,
    browser: Browser,
    live_server: Any,
    operations: Person,
    building: Building,
) -> None:
    page = browser.new_context(bypass_csp=True, **SHOWN[shown]).new_page()
    sign_in(page, live_server.url, operations)
    bad = write_plan_table({**build_example_document(), "name": ""}, ".csv")
    brought = [
        (reverse("jobs:import_building", args=[building.job_id]), "no.csv", bad),
        (
            reverse("jobs:revise", args=[building.pk]),
            "hay.dxf",
            as_bytes(other_drawing()),
        ),
        (
            reverse("checks:survey_points", args=[building.pk]),
            "shed.txt",
            "\n".join([*lines(unit="ft"), "9,1,2,3,fence"]).encode(),
        ),
        (reverse("checks:upload_readings", args=[building.pk]), "", b""),
    ]
    found = {}
    for address, name, content in brought:
        page.goto(f"{live_server.url}{address}")
        if name:
            choose(page, name, content)
            page.wait_for_selector("#read table")
        page.evaluate(OPEN_ALL)
        found[address] = wrong(page)
    assert found == {address: [] for address, *_ in brought}
