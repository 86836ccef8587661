"""Readings taken without a network are kept, and sent once."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection
from django.urls import reverse
from playwright.sync_api import Page, expect, sync_playwright

from checks.models import Reading
from core.models import Person
from jobs.models import Building
from tests import factories
from tests.sheds import shed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = {"width": 390, "height": 844}


@pytest.fixture
def building(job: Any, operations: Person) -> Building:
    return factories.building(job, operations, shed())


@pytest.fixture
def page(
    chromium_path: str,
    live_server: Any,
    field_lead: Person,
    building: Building,
) -> Iterator[Page]:
    """Give a phone with the field lead signed in; the building is there before."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox"]
        )
        page = browser.new_context(viewport=PHONE).new_page()
        page.goto(f"{live_server.url}{reverse('sign-in')}")
        page.fill("[name=username]", field_lead.username)
        page.fill("[name=password]", factories.PASSWORD)
        page.click("main [type=submit]")
        page.wait_for_url(f"{live_server.url}/")
        yield page
        browser.close()


def stored() -> list[Reading]:
    """Read the record from another thread: the driver's event loop runs in this one."""

    def read() -> list[Reading]:
        try:
            return list(Reading.objects.order_by("pk"))
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(read).result()


def walk(page: Page, live_server: Any, building: Building, section: str) -> None:
    address = reverse("checks:measure", args=[building.pk])
    page.goto(f"{live_server.url}{address}?section={section}")


def test_a_reading_taken_offline_is_kept_and_sent_once(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server, building, "wall:A-B")
    page.context.set_offline(True)
    page.fill("[name=typed-0]", "66' 0 1/16\"")
    page.click("button:text-is('Record')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("1 reading waits in this browser")
    assert not stored()
    page.context.set_offline(False)
    expect(page.locator(".entry").first).to_contain_text("within")
    expect(banner).to_be_hidden()
    (reading,) = stored()
    assert reading.entered == "66' 0 1/16\""
    assert reading.check_key == "wall:A-B"


def test_what_waits_is_still_there_when_the_page_is_opened_again(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server, building, "wall:A-B")
    page.route("**/api/**", lambda route: route.abort())
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("1 reading waits")
    page.unroute("**/api/**")
    walk(page, live_server, building, "levels")
    expect(page.locator("#outbox")).to_be_hidden()
    assert [row.entered for row in stored()] == ["66'"]


def test_an_answer_that_was_lost_does_not_store_twice(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server, building, "wall:A-B")

    def lose(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route("**/api/**", lose, times=1)
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("when there is a network")
    assert len(stored()) == 1
    page.click("[data-send]")
    expect(page.locator("#outbox")).to_be_hidden()
    assert len(stored()) == 1


def test_what_the_server_refuses_is_kept_with_the_reason(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server, building, "wall:A-B")
    page.fill("[name=typed-0]", "66' 14\"")
    page.fill("[name=typed-1]", "2'")
    page.click("button:text-is('Record')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("wall:A-B “66' 14\"” was refused")
    expect(page.locator(".entry").nth(1)).to_contain_text("within")
    assert [row.entered for row in stored()] == ["2'"]
    page.click("text=Put it away")
    expect(banner).to_be_hidden()


@pytest.mark.parametrize("section", ["levels", "strength", "plumb"])
def test_every_kind_of_section_is_sent_as_the_form_would(
    page: Page, live_server: Any, building: Building, section: str
) -> None:
    walk(page, live_server, building, section)
    page.select_option("#strength_unit" if section == "strength" else "#unit", index=1)
    if section == "strength":
        page.fill("[name=name-0]", "F1")
    if section == "plumb":
        page.fill("#height", "12")
    page.fill("[name=typed-0]", "20" if section == "strength" else "0.01")
    page.click("button:text-is('Record')")
    expect(page.locator(".entry .verdict").first).to_be_visible()
    (reading,) = stored()
    entry = reading.entry
    assert entry["value"] == ("20 MPa" if section == "strength" else "0.01 ft")
    assert entry.get("height") == ("12 ft" if section == "plumb" else None)
    assert entry.get("setup") == ("1" if section == "levels" else None)
