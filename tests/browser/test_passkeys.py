"""Passkeys in a real browser, on the virtual authenticator that it has for tests."""

from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from checks.models import Decision, Finding
from checks.services.readings import record_readings
from core.models import Passkey, Person
from jobs.models import Building
from tests.browser.conftest import beside, sign_in
from tests.browser.test_accessible import SHOWN, wrong
from tests.checks.conftest import entry
from tests.factories import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def finding(building: Building, field_lead: Person, engineer: Person) -> Finding:
    """Return a low pad, for the engineer to decide on."""
    entries = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=entries)
    return Finding.objects.get()


def authenticator(page: Page) -> Any:
    """Return the browser a device that knows its owner; tell whether it does."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    made = session.send("WebAuthn.addVirtualAuthenticator", {"options": options})

    def knows_its_owner(knows: bool) -> None:
        given = {"authenticatorId": made["authenticatorId"], "isUserVerified": knows}
        session.send("WebAuthn.setUserVerified", given)

    return knows_its_owner


def add_passkey(page: Page, server: str) -> None:
    page.goto(f"{server}{reverse('passkeys')}")
    page.get_by_label("Name").fill("office desk")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Add a passkey").click()
    page.get_by_role("button", name="Create passkey").click()
    expect(page.get_by_text("Passkey added: office desk.")).to_be_visible()


def order(page: Page, server: str, finding: Finding) -> Any:
    """Fill in the order on a finding's page, but for the signature."""
    page.goto(f"{server}{reverse('checks:finding', args=[finding.pk])}")
    form = page.locator("#decide")
    form.get_by_label("Shim").first.check()
    form.get_by_label("Disposition").select_option("rework")
    form.get_by_label("Order or reason").fill("Shim it.")
    return form


def test_a_passkey_is_added_signs_a_decision_and_signs_in(
    finding: Finding, engineer: Person, browser: Browser, live_server: Any
) -> None:
    server = live_server.url
    page = browser.new_context().new_page()
    authenticator(page)
    sign_in(page, server, engineer)
    add_passkey(page, server)
    form = order(page, server, finding)
    form.get_by_role("button", name="Sign with a passkey").click()
    expect(page.get_by_text("Decision signed.")).to_be_visible()
    page.locator(".user-menu summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{server}{reverse('sign-in')}")
    page.get_by_role("button", name="Sign in with a passkey").click()
    page.wait_for_url(f"{server}/")
    expect(page.locator(".user-menu summary")).to_contain_text(str(engineer))
    assert beside(Decision.objects.get).engineer_id == engineer.pk
    assert beside(Passkey.objects.get).sign_count > 1


def test_where_the_device_refuses_the_password_signs(
    finding: Finding, engineer: Person, browser: Browser, live_server: Any
) -> None:
    page = browser.new_context().new_page()
    knows_its_owner = authenticator(page)
    sign_in(page, live_server.url, engineer)
    add_passkey(page, live_server.url)
    knows_its_owner(False)
    form = order(page, live_server.url, finding)
    form.get_by_role("button", name="Sign with a passkey").click()
    expect(form.get_by_text("No passkey was used. Try again")).to_be_visible()
    assert not beside(Decision.objects.exists)
    form.get_by_label("Your password").fill(PASSWORD)
    form.get_by_role("button", name="Sign the decision").click()
    expect(page.get_by_text("Decision signed.")).to_be_visible()


def test_what_is_missing_is_asked_for_before_the_device_is(
    finding: Finding, engineer: Person, browser: Browser, live_server: Any
) -> None:
    page = browser.new_context().new_page()
    authenticator(page)
    sign_in(page, live_server.url, engineer)
    add_passkey(page, live_server.url)
    form = order(page, live_server.url, finding)
    form.get_by_label("Disposition").select_option("")
    form.get_by_role("button", name="Sign with a passkey").click()
    expect(form.get_by_label("Disposition")).to_be_focused()
    expect(form.get_by_label("Your password")).to_have_attribute("required", "")
    assert beside(Passkey.objects.get).sign_count <= 1


@pytest.mark.parametrize("without", ["script", "passkeys"])
def test_without_script_or_passkeys_the_password_does_it(
    without: str, engineer: Person, browser: Browser, live_server: Any
) -> None:
    context = browser.new_context(java_script_enabled=without != "script")
    context.add_init_script("delete window.PublicKeyCredential;")
    page = context.new_page()
    page.goto(f"{live_server.url}{reverse('sign-in')}")
    expect(page.get_by_text("Sign in with a passkey")).to_be_hidden()
    sign_in(page, live_server.url, engineer)
    page.goto(f"{live_server.url}{reverse('passkeys')}")
    page.get_by_label("Name").fill("office desk")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_text("This browser does not support passkeys.")).to_be_visible()
    expect(page.get_by_role("button", name="Create passkey")).to_be_hidden()


@pytest.mark.parametrize("shown", SHOWN)
def test_no_page_of_passkeys_breaks_a_rule_that_a_program_can_tell(
    shown: str,
    finding: Finding,
    engineer: Person,
    browser: Browser,
    live_server: Any,
) -> None:
    # The page's own policy would not let the test's script in.
    context = browser.new_context(bypass_csp=True, **SHOWN[shown])
    page, server = context.new_page(), live_server.url
    authenticator(page)
    page.goto(f"{server}{reverse('sign-in')}")
    found = {"sign in": wrong(page)}
    sign_in(page, server, engineer)
    add_passkey(page, server)
    found["listed"] = wrong(page)
    page.get_by_role("link", name="Remove").click()
    found["removed"] = wrong(page)
    order(page, server, finding)
    found["signed"] = wrong(page)
    assert found == {name: [] for name in found}
