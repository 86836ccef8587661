"""The keypad writes what a person would, and the phone judges as the server does."""

from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from core.formatting import format_display_length
from core.models import Person
from core.units import parse_length
from jobs.models import Building
from tests.browser.conftest import sign_in, stored, walk

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
READINGS = [
    "66'",
    "66' 1/4\"",
    "66' 5/16\"",
    "65' 11 3/4\"",
    "65' 11 11/16\"",
    "66.1 ft",
]


@pytest.fixture
def touched(
    phone: BrowserContext, live_server: Any, field_lead: Person, building: Building
) -> Page:
    page = phone.new_page()
    sign_in(page, live_server.url, field_lead)
    walk(page, live_server.url, building, "wall:A-B")
    return page


def press(page: Page, keys: str) -> None:
    words = {"ft": "feet", "in": "inches", "sign": "sign", "back": "back"}
    for word in keys.split():
        if word in words:
            page.tap(f"#keypad [data-rule={words[word]}]")
        elif word.isdigit():
            for digit in word:
                page.tap(f"#keypad [data-key='{digit}']")
        else:
            page.tap(f"#keypad [data-key='{word}']")


def test_a_reading_is_entered_and_recorded_by_the_keypad_alone(touched: Page) -> None:
    field = touched.locator("[name=typed-0]")
    field.tap()
    assert field.get_attribute("inputmode") == "none"
    expect(touched.locator("#keypad")).to_be_visible()
    press(touched, "66 ft 3/8 +1/32")
    expect(field).to_have_value("66' 13/32\"")
    read = format_display_length(
        float(parse_length("66' 13/32\"").mm), "imperial", denominator=32
    )
    expect(touched.locator("[data-readout]")).to_have_text(read)
    expect(touched.locator(".entry").first).not_to_contain_text("plan")
    touched.tap("#keypad [data-act=record]")
    expect(touched.locator("[data-last]")).to_contain_text("outside, provisional")
    expect(touched.locator("[data-last]")).to_contain_text("off +13")
    expect(touched.locator("[name=typed-1]")).to_be_focused()
    expect(touched.locator(".entry").first.locator(".verdict")).to_have_text("outside")
    assert [row.entered for row in stored()] == ["66' 13/32\""]


def test_inches_left_open_are_closed_by_the_keypad(touched: Page) -> None:
    touched.tap("[name=typed-0]")
    press(touched, "66 ft 4")
    touched.tap("#keypad [data-act=record]")
    expect(touched.locator("[data-last]")).to_contain_text("66' 4\"")
    expect(touched.locator(".entry .verdict").first).to_have_text("outside")


def test_a_keyboard_types_beside_the_keypad_and_can_take_its_place(
    touched: Page,
) -> None:
    field = touched.locator("[name=typed-0]")
    field.tap()
    touched.keyboard.type("66'")
    press(touched, "1/16")
    expect(field).to_have_value("66' 1/16\"")
    touched.tap("#keypad [data-act=keyboard]")
    expect(touched.locator("#keypad")).to_be_hidden()
    expect(field).to_be_focused()
    assert field.get_attribute("inputmode") == "text"
    touched.tap("[data-keypad-back]")
    expect(touched.locator("#keypad")).to_be_visible()


def test_the_line_that_is_typed_on_stands_above_the_keys(touched: Page) -> None:
    for number in range(4):
        touched.locator(f"[name=typed-{number}]").focus()
        field = touched.locator(f"[name=typed-{number}]").bounding_box()
        keys = touched.locator("#keypad").bounding_box()
        assert field
        assert keys
        assert 0 <= field["y"] < keys["y"] - field["height"]


def test_the_first_line_and_what_records_it_are_in_sight_at_once(
    touched: Page,
) -> None:
    height = touched.evaluate("innerHeight")
    for part in ("[name=typed-0]", ".send [type=submit]"):
        box = touched.locator(part).bounding_box()
        assert box
        assert box["y"] + box["height"] <= height
    bar = touched.locator(".send").bounding_box()
    assert bar
    assert bar["height"] < height / 10


def test_the_phone_judges_plain_checks_as_the_server_does(
    touched: Page, live_server: Any, building: Building
) -> None:
    """On the limit itself, a sixteenth beyond it, and from either corner."""
    line = touched.locator(".entry").first
    for text in READINGS:
        touched.context.set_offline(True)
        touched.fill("[name=typed-0]", text)
        standing = line.locator("[name=replaces-0]")
        if standing.is_visible():
            standing.select_option(index=1)
        touched.keyboard.press("Enter")
        provisional = line.locator(".pending .verdict")
        said = provisional.inner_text().removesuffix(", provisional")
        touched.context.set_offline(False)
        expect(line.locator(".pending")).to_be_hidden()
        expect(line.locator(".recorded > span").first).to_contain_text(text)
        expect(line.locator("[data-swap=verdict]")).to_have_text(said)
    touched.fill("[name=typed-1]", "64' 1/8\"")
    touched.select_option("[name=corner-1]", "B")
    touched.context.set_offline(True)
    touched.locator("[name=typed-1]").press("Enter")
    second = touched.locator(".entry").nth(1)
    said = second.locator(".pending .verdict").inner_text()
    touched.context.set_offline(False)
    expect(second.locator(".pending")).to_be_hidden()
    judged = second.locator("[data-swap=verdict]")
    expect(judged).to_have_text(said.removesuffix(", provisional"))
