"""The pages of people, accounts and the trail, held against WCAG by axe-core."""

from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser

from api.services import create_crew_token
from core.models import Person
from jobs.accounts.invitations import Invitation, create_invitation, make_token
from jobs.accounts.view_log import record_view
from jobs.models import Building
from tests.browser.conftest import beside, sign_in
from tests.browser.test_accessible import SHOWN, wrong

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def invitation(
    building: Building, operations: Person, administrator: Person
) -> Invitation:
    """Return an open invitation, and something to list on every page."""

    def fill() -> Invitation:
        create_crew_token(actor=administrator, name="a phone", days=9)
        record_view(
            actor=operations,
            building=building,
            kind="building",
            object_id=building.pk,
        )
        return create_invitation(
            actor=operations,
            address="noor@example.org",
            role="field",
            jobs=[building.job],
        )

    return beside(fill)


@pytest.mark.parametrize("shown", SHOWN)
def test_no_page_of_people_breaks_a_rule_that_a_program_can_tell(
    shown: str,
    invitation: Invitation,
    building: Building,
    browser: Browser,
    live_server: Any,
    administrator: Person,
    operations: Person,
) -> None:
    # The page's own policy would not let the test's script in.
    context = browser.new_context(bypass_csp=True, **SHOWN[shown])
    page = context.new_page()
    found = {}
    for address in (
        reverse("accounts:invitation", args=[make_token(invitation)]),
        reverse("set-password", args=["Mg", "x"]),
        reverse("forgotten-password"),
    ):
        page.goto(f"{live_server.url}{address}")
        found[address] = wrong(page)
    sign_in(page, live_server.url, administrator)
    for address in (
        reverse("accounts:list"),
        reverse("accounts:invite"),
        reverse("accounts:person", args=[operations.pk]),
        reverse("account"),
        reverse("tokens:list"),
        reverse("change-password"),
        reverse("trail", args=[building.job_id]),
    ):
        answer = page.goto(f"{live_server.url}{address}")
        assert answer is not None
        assert answer.ok, address
        found[address] = wrong(page)
    assert found == {address: [] for address in found}
