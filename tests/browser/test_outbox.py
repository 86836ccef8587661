"""Readings taken without a network are kept, and sent once."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from core.models import Person
from jobs.models import Building
from tests.browser.conftest import sign_in, stored, walk

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DOOR = "**/buildings/*/readings/"


def test_a_reading_taken_offline_is_kept_and_sent_once(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.context.set_offline(True)
    page.fill("[name=typed-0]", "66' 0 1/16\"")
    page.click("button:text-is('Record')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("1 reading waits on this phone")
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
    walk(page, live_server.url, building, "wall:A-B")
    page.route(DOOR, lambda route: route.abort())
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("1 reading waits")
    page.unroute(DOOR)
    walk(page, live_server.url, building, "levels")
    expect(page.locator("#outbox")).to_be_hidden()
    assert [row.entered for row in stored()] == ["66'"]


def test_an_answer_that_was_lost_does_not_store_twice(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")

    def lose(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route(DOOR, lose, times=1)
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
    walk(page, live_server.url, building, "wall:A-B")
    page.fill("[name=typed-0]", "66' 14\"")
    page.fill("[name=typed-1]", "2'")
    page.click("button:text-is('Record')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("Wall A to B, overall length “66' 14\"”")
    expect(banner).to_contain_text("inches must be under 12")
    expect(page.locator(".entry").nth(1)).to_contain_text("within")
    assert [row.entered for row in stored()] == ["2'"]


def refuse_one(page: Page, live_server: Any, building: Building) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.fill("[name=typed-0]", "66' 14\"")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("was refused")


def test_what_was_refused_can_be_corrected_from_another_section(
    page: Page, live_server: Any, building: Building
) -> None:
    refuse_one(page, live_server, building)
    walk(page, live_server.url, building, "levels")
    page.click("button:text-is('Correct')")
    expect(page.locator("[name=typed-0]")).to_have_value("66' 14\"")
    page.fill("[name=typed-0]", "66' 1/4\"")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_be_hidden()
    assert [row.entered for row in stored()] == ["66' 1/4\""]


def test_what_was_set_aside_stays_until_it_is_removed_twice(
    page: Page, live_server: Any, building: Building
) -> None:
    refuse_one(page, live_server, building)
    banner = page.locator("#outbox")
    page.click("text=Set aside")
    page.reload()
    page.click("summary:has-text('Set aside: 1')")
    expect(banner).to_contain_text("was refused")
    page.click("button:text-is('Delete')")
    expect(banner).to_be_visible()
    page.click("text=Delete permanently")
    expect(banner).to_be_hidden()


def test_nobody_sends_what_another_person_took(
    page: Page,
    live_server: Any,
    building: Building,
    operations: Person,
    field_lead: Person,
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.route(DOOR, lambda route: route.abort())
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("1 reading waits")
    other = page.context.new_page()
    other.goto(live_server.url)
    other.context.clear_cookies()
    sign_in(other, live_server.url, operations)
    page.unroute(DOOR)
    page.click("[data-send]")
    expect(page.locator("#outbox")).to_contain_text("Another person has signed in")
    walk(other, live_server.url, building, "levels")
    told = f"1 reading of {field_lead} stays here"
    expect(other.locator("#outbox")).to_contain_text(told)
    assert not stored()
    other.context.clear_cookies()
    sign_in(other, live_server.url, field_lead)
    walk(other, live_server.url, building, "levels")
    expect(other.locator("#outbox")).to_be_hidden()
    (reading,) = stored()
    assert reading.recorded_by_id == field_lead.pk


def test_signed_out_it_waits_for_the_same_person(
    page: Page, live_server: Any, building: Building, field_lead: Person
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.context.clear_cookies()
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator("#outbox")).to_contain_text("1 reading waits")
    assert not stored()
    sign_in(page, live_server.url, field_lead)
    walk(page, live_server.url, building, "levels")
    expect(page.locator("#outbox")).to_be_hidden()
    assert len(stored()) == 1


def test_what_waits_can_be_measured_again_with_the_reason(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.context.set_offline(True)
    page.fill("[name=typed-0]", "65'")
    page.keyboard.press("Enter")
    line = page.locator(".entry").first
    expect(line.locator(".pending")).to_contain_text("outside, provisional")
    line.locator("text=Measure again").click()
    page.select_option("[name=note-0]", "misread")
    page.fill("[name=typed-0]", "66'")
    page.keyboard.press("Enter")
    expect(line.locator(".pending")).to_contain_text("in place of an earlier one")
    page.context.set_offline(False)
    expect(line.locator(".pending")).to_be_hidden()
    first, second = stored()
    assert second.supersedes_id == first.pk
    assert second.entry["note"] == "misread"


@pytest.mark.parametrize("section", ["levels", "strength", "plumb"])
def test_every_kind_of_section_is_sent_as_the_form_would(
    page: Page, live_server: Any, building: Building, section: str
) -> None:
    walk(page, live_server.url, building, section)
    page.click(".reading-details > summary")
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
