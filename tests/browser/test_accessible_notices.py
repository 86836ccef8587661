"""Letters, and the pages about them, held against WCAG by axe-core."""

from typing import Any

import pytest
from django.core import mail
from django.urls import reverse
from playwright.sync_api import Browser

from checks import tasks
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building, Job
from jobs.notifications.models import Delivery
from tests.browser.conftest import beside, sign_in
from tests.browser.test_accessible import SHOWN, wrong
from tests.checks.conftest import entry
from tests.jobs.notifications.samples import stop_token, webhook_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("shown", SHOWN)
def test_no_page_about_notices_breaks_a_rule_that_a_program_can_tell(
    shown: str, job: Job, operations: Person, browser: Browser, live_server: Any
) -> None:
    addresses: list[str] = []

    def register() -> None:
        webhook = webhook_of(job)
        Delivery.objects.create(webhook=webhook, error="Nobody listens there.")
        addresses.extend(
            [
                reverse("notifications:email_preferences"),
                reverse("notifications:unsubscribe", args=[stop_token(job)]),
                reverse("notifications:webhooks"),
                reverse("notifications:webhook", args=[webhook.pk]),
            ]
        )

    beside(register)
    page = browser.new_context(bypass_csp=True, **SHOWN[shown]).new_page()
    sign_in(page, live_server.url, operations)
    found = {}
    for address in addresses:
        answer = page.goto(f"{live_server.url}{address}")
        assert answer is not None
        assert answer.ok, address
        for fold in page.locator("main summary").all():
            fold.click()
        found[address] = wrong(page)
    assert found == {address: [] for address in addresses}


@pytest.mark.parametrize("shown", SHOWN)
def test_a_letter_is_read_on_any_device(
    shown: str,
    building: Building,
    field_lead: Person,
    browser: Browser,
    settings: Any,
) -> None:
    settings.EMAIL_BATCH_MINUTES = 0
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]

    def write() -> None:
        record_readings(actor=field_lead, building=building, entries=low)
        tasks.send_decision_reminders()

    beside(write)
    (message,) = mail.outbox
    page = browser.new_context(**SHOWN[shown]).new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(str(message.alternatives[0][0]))
    assert asked == [], "nothing is fetched when a letter is opened"
    assert wrong(page) == []
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"]
