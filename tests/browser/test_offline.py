"""The walk opens without a server to ask, and survives one that dies."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.request import urlopen

import psycopg
import pytest
from django.conf import settings
from django.db import connection
from playwright.sync_api import BrowserContext, Page, expect

from checks.models import Photograph
from checks.services.file_store import load_file
from core.models import Person
from jobs.models import Building
from tests.browser.conftest import beside, sign_in, stored, walk
from tests.images import photo

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]


@dataclass
class Mortal:
    """A server that can be killed and started again at the same address."""

    url: str
    command: list[str]
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            self.command,
            cwd=settings.BASE_DIR,
            env={**os.environ, "MEDIA_ROOT": str(settings.MEDIA_ROOT)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _answers(self.url)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()


@pytest.fixture
def mortal(live_server: Any) -> Iterator[Mortal]:
    """Return a server of its own on the test's database, not started yet."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "tests.browser.killable_server"]
    command += [connection.settings_dict["NAME"], str(port)]
    server = Mortal(f"http://127.0.0.1:{port}", command)
    yield server
    server.kill()


def _answers(address: str) -> None:
    for _ in range(150):
        try:
            urlopen(f"{address}/health/live", timeout=5).close()
        except OSError:
            time.sleep(0.2)
        else:
            return
    raise TimeoutError


@pytest.fixture
def at_hand(
    mortal: Mortal, phone: BrowserContext, field_lead: Person, building: Building
) -> Page:
    """Return a phone that opened one section of the walk and kept the rest."""
    mortal.start()
    page = phone.new_page()
    sign_in(page, mortal.url, field_lead)
    walk(page, mortal.url, building, "wall:A-B")
    expect(page.locator("[data-at-hand]")).to_contain_text("whole walk", timeout=20000)
    return page


def test_a_walk_visited_once_is_measured_without_a_network(
    at_hand: Page, mortal: Mortal, building: Building
) -> None:
    mortal.kill()
    at_hand.reload()
    at_hand.fill("[name=typed-0]", "66' 1/16\"")
    at_hand.tap("#keypad [data-act=record]")
    expect(at_hand.locator(".pending").first).to_contain_text("within, provisional")
    at_hand.reload()
    at_hand.fill("[name=typed-0]", "66' 1/8\"")
    at_hand.tap("#keypad [data-act=record]")
    expect(at_hand.locator(".pending-line")).to_have_count(2)
    at_hand.close()
    page = at_hand.context.new_page()
    walk(page, mortal.url, building, "position:S1")
    expect(page.locator("form h2")).to_have_text("Pattern S1")
    expect(page.locator("#outbox")).to_contain_text("2 readings wait on this phone")
    looks = "getComputedStyle(document.querySelector('.send')).position"
    assert page.evaluate(looks) == "sticky"
    assert not stored()
    mortal.start()
    page.tap("[data-send]")
    expect(page.locator("#outbox")).to_be_hidden()
    assert [row.entered for row in stored()] == ["66' 1/16\"", "66' 1/8\""]


def test_a_photograph_outlives_the_page_it_was_taken_on(
    at_hand: Page, mortal: Mortal, building: Building
) -> None:
    mortal.kill()
    at_hand.reload()
    plate = {"name": "plate.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    at_hand.set_input_files("[data-snap][name=photograph-0]", plate)
    expect(at_hand.locator("#outbox")).to_contain_text("1 photograph waits")
    at_hand.goto(f"{mortal.url}/")
    expect(at_hand.locator("[data-waiting]")).to_contain_text("1 photograph waits")
    at_hand.close()
    page = at_hand.context.new_page()
    walk(page, mortal.url, building, "wall:A-B")
    expect(page.locator("[data-snapped] img").first).to_be_visible()
    mortal.start()
    page.tap("[data-send]")
    expect(page.locator(".entry").first).to_contain_text("1 photograph")
    expect(page.locator("#outbox")).to_be_hidden()
    kept = beside(Photograph.objects.get)
    assert kept.check_key == "wall:A-B"
    assert load_file(kept.digest)


def test_without_a_network_any_other_page_names_the_walks_at_hand(
    at_hand: Page, mortal: Mortal, building: Building
) -> None:
    mortal.kill()
    at_hand.goto(f"{mortal.url}/")
    at_hand.click(f"main a:text-is('{building}')")
    expect(at_hand.locator("form[data-outbox]")).to_be_visible()


def test_signing_out_takes_the_pages_along(
    at_hand: Page, mortal: Mortal, building: Building
) -> None:
    at_hand.click(".user-menu > summary")
    at_hand.click("text=Sign out")
    at_hand.wait_for_url("**/sign-in/**")
    mortal.kill()
    walk(at_hand, mortal.url, building, "wall:A-B")
    expect(at_hand.locator("h1")).to_have_text("No network")
    expect(at_hand.locator("[data-none]")).to_be_visible()


def test_a_server_killed_amid_an_upload_loses_and_doubles_nothing(
    mortal: Mortal, at_hand: Page, building: Building
) -> None:
    with psycopg.connect(**_as_psycopg()) as other:
        held = "select 1 from jobs_building where id = %s for update"
        other.execute(held, [building.pk])
        at_hand.fill("[name=typed-0]", "66'")
        at_hand.tap("#keypad [data-act=record]")
        _until_somebody_waits(other)
        mortal.kill()
    expect(at_hand.locator("#outbox")).to_contain_text("1 reading waits")
    at_hand.reload(wait_until="domcontentloaded")
    expect(at_hand.locator("#outbox")).to_contain_text("1 reading waits")
    mortal.start()
    at_hand.click("[data-send]")
    expect(at_hand.locator("#outbox")).to_be_hidden()
    assert [row.entered for row in stored()] == ["66'"]


def _as_psycopg() -> dict[str, Any]:
    known = connection.settings_dict
    names = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD"}
    return {
        "dbname": known["NAME"],
        **{ours: known[its] for ours, its in names.items()},
    }


def _until_somebody_waits(other: psycopg.Connection[Any]) -> None:
    waits = "select count(*) from pg_locks where not granted"
    for _ in range(100):
        row = other.execute(waits).fetchone()
        if row and row[0]:
            return
        time.sleep(0.1)
    raise TimeoutError
