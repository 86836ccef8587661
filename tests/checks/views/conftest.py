"""Somebody signed in, and a building whose steel may leave."""

from typing import Any

import pytest
from django.test import Client

from checks.models import Release
from checks.services.releases import sign_release
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned


@pytest.fixture
def signed_in(client: Client) -> Any:
    def sign_in(person: Person) -> Client:
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in


@pytest.fixture
def shipped(building: Building, measure: Measure, operations: Person) -> Release:
    """Return the signed steel release of a building on plan."""
    measure(*as_planned(building, "foundation", "verification"))
    return sign_release(actor=operations, building=building, kind="ship")
