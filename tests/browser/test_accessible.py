"""Pages held against WCAG by axe-core, as a phone, a desktop and the dark show them.

Rules and how they map to WCAG 2.2: https://www.w3.org/TR/WCAG22/; what a program
cannot tell (order of reading, sense of words) is left to people.
"""

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Browser

from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from tests.browser.conftest import beside, sign_in
from tests.checks.conftest import as_planned

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHOWN = {
    "phone": {"viewport": {"width": 390, "height": 844}},
    "desk": {"viewport": {"width": 1280, "height": 900}},
    "dark": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
}
OF_A_BUILDING = (
    "building",
    "checks:levels",
    "checks:shims",
    "checks:measure",
    "checks:blank_sheet",
    "checks:reading_history",
    "checks:concrete",
    "checks:releases",
    "jobs:plan",
)


def wrong(page: Any) -> list[str]:
    """List the violations that axe finds, with their element."""
    found = Axe().run(page).response["violations"]
    return [f"{each['id']}: {each['nodes'][0]['html'][:120]}" for each in found]


@pytest.fixture
def measured(building: Building, field_lead: Person) -> Building:
    """Return a building with a verdict of every kind on the plan and one pad low."""

    def measure() -> None:
        entries = as_planned(building, "foundation", **{"level:S2": "1006 mm"})
        record_readings(actor=field_lead, building=building, entries=entries)

    beside(measure)
    return building


@pytest.mark.parametrize("shown", SHOWN)
def test_no_page_breaks_a_rule_that_a_program_can_tell(
    shown: str,
    measured: Building,
    browser: Browser,
    live_server: Any,
    field_lead: Person,
) -> None:
    # The page's own policy would not let the test's script in.
    context = browser.new_context(bypass_csp=True, **SHOWN[shown])
    page = context.new_page()
    sign_in(page, live_server.url, field_lead)
    addresses = [
        "/",
        reverse("checks:findings"),
        reverse("checks:methods"),
        reverse("checks:method", args=["plate-fit"]),
        reverse("checks:position", args=[measured.pk, "S2"]),
        reverse("checks:check", args=[measured.pk, "level:S2"]),
        *(reverse(name, args=[measured.pk]) for name in OF_A_BUILDING),
    ]
    found = {}
    for address in addresses:
        answer = page.goto(f"{live_server.url}{address}")
        assert answer is not None
        assert answer.ok, address
        found[address] = wrong(page)
    assert found == {address: [] for address in addresses}
