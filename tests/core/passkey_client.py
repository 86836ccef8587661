"""Passkeys added and used over the program's own pages, as a browser does it."""

import html
import json
import re
from typing import Any

from django.test import Client
from django.urls import reverse

from core.models import Person
from tests.factories import PASSWORD
from tests.software_authenticator import Authenticator

HOST = {"host": "localhost:8000"}


def browser(person: Person | None = None) -> Client:
    """Return a browser that opens the program at its own address."""
    client = Client(headers=HOST)
    if person is not None:
        client.force_login(person)
    return client


def begun(client: Client, name: str = "own phone") -> dict[str, Any]:
    """Begin to add a passkey; give what the browser is asked to make."""
    entry = {"name": name, "password": PASSWORD}
    page = client.post(reverse("passkeys"), entry, follow=True).text
    found = re.search(r'data-make-passkey="([^"]*)"', page)
    assert found, page
    options: dict[str, Any] = json.loads(html.unescape(found[1]))
    return options


def add(client: Client, device: Authenticator, name: str = "own phone") -> str:
    """Add a device's passkey; give the page that follows."""
    made = {"assertion": device.make(begun(client, name))}
    page: str = client.post(reverse("make-passkey"), made, follow=True).text
    return page


def challenge(client: Client) -> dict[str, Any]:
    """Ask for what a passkey is to sign."""
    answer = client.post(reverse("passkey-challenge"))
    assert answer.status_code == 200
    options: dict[str, Any] = answer.json()
    return options


def with_passkey(person: Person) -> tuple[Client, Authenticator]:
    """Return a browser with a person signed in, and their device with a passkey."""
    client, device = browser(person), Authenticator()
    assert "Passkey added" in add(client, device)
    return client, device
