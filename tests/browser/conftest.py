"""A phone with the field lead signed in, and a look into the record from beside it."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import pytest
from django.db import connection
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from checks.models import Reading
from core.models import Person
from jobs.models import Building
from tests import factories
from tests.example_buildings import shed

PHONE = {"width": 390, "height": 844}
Found = TypeVar("Found")


def beside(ask: Callable[[], Found]) -> Found:
    """Ask the database from another thread: the driver's event loop runs in this."""

    def asked() -> Found:
        try:
            return ask()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asked).result()


def stored() -> list[Reading]:
    return beside(lambda: list(Reading.objects.order_by("pk")))


def sign_in(page: Page, server: str, person: Person) -> None:
    page.goto(f"{server}{reverse('sign-in')}")
    page.fill("[name=username]", person.username)
    page.fill("[name=password]", factories.PASSWORD)
    page.click("main [type=submit]")
    page.wait_for_url(f"{server}/")


def walk(page: Page, server: str, building: Building, section: str) -> None:
    address = reverse("checks:measure", args=[building.pk])
    page.goto(f"{server}{address}?section={section}")


@pytest.fixture
def building(job: Any, operations: Person) -> Building:
    return factories.building(job, operations, shed())


@pytest.fixture
def browser(
    chromium_path: str, live_server: Any, building: Building, stranger: Person
) -> Iterator[Browser]:
    """Start the browser last: from then on its event loop runs in this thread."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium_path, args=["--no-sandbox"]
        )
        yield browser
        browser.close()


@pytest.fixture
def phone(browser: Browser) -> BrowserContext:
    """Return a phone that is touched, and works offline; nobody is signed in."""
    return browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)


@pytest.fixture
def page(browser: Browser, live_server: Any, field_lead: Person) -> Page:
    """Return a page of the field lead's, with no worker between it and the server."""
    context = browser.new_context(viewport=PHONE, service_workers="block")
    page = context.new_page()
    sign_in(page, live_server.url, field_lead)
    return page
