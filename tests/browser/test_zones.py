"""Times on a phone are those of the phone's own clock, and UTC in the record."""

from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser

from core.models import Person
from jobs.models import Building
from tests.browser.conftest import PHONE, sign_in, stored, walk

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_time_typed_on_a_phone_is_stored_as_utc_and_shown_as_typed(
    browser: Browser, building: Building, live_server: Any, field_lead: Person
) -> None:
    far = browser.new_context(
        viewport=PHONE, service_workers="block", timezone_id="Asia/Kathmandu"
    )
    page = far.new_page()
    sign_in(page, live_server.url, field_lead)
    walk(page, live_server.url, building, "wall:A-B")
    page.evaluate("document.querySelector('[name=at]').closest('details').open = true")
    page.fill("[name=at]", "2026-03-09T08:30")
    page.fill("[name=typed-0]", "66' 0 1/16\"")
    with page.expect_response("**/buildings/*/readings/"):
        page.click("button:text-is('Record')")
    (reading,) = stored()
    assert reading.taken_at == datetime(2026, 3, 9, 2, 45, tzinfo=UTC)
    page.goto(f"{live_server.url}/buildings/{building.pk}/record/")
    assert "9 Mar 2026, 08:30 +0545" in page.content()
