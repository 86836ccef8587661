"""Clients of the interface, one per kind of visitor."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from api.services import create_crew_token
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.api.samples import store

As = Callable[[Person], APIClient]


@pytest.fixture
def anonymous() -> APIClient:
    """Return a client that says nothing about itself."""
    return APIClient()


@pytest.fixture
def by_token(db: None) -> As:
    """Return a client that carries a token of this person's."""

    def client(person: Person) -> APIClient:
        _, text = create_crew_token(actor=person, name="a phone", days=30)
        found = APIClient()
        found.credentials(HTTP_AUTHORIZATION=f"Token {text}")
        return found

    return client


@pytest.fixture
def by_session(db: None) -> As:
    """Return a client with this person's session."""

    def client(person: Person) -> APIClient:
        found = APIClient()
        found.force_login(person)
        return found

    return client


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return the job's store, with nothing measured."""
    document = store()
    del document["readings"]
    return factories.building(job, operations, document)
