"""Permissions: one table of every address and every kind of visitor.

The table is in `tests/access/`. An address that is not in it fails, and so does one
that is not there any more.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from core.models import Person
from jobs.models import Job
from tests.access.api_routes import INTERFACE
from tests.access.fixtures import Place, make_place
from tests.access.page_routes import PAGES
from tests.access.route_row import Row

pytestmark = pytest.mark.django_db
VISITORS = (
    "anonymous",
    "stranger",  # has an account, and works on no job
    "field_lead",
    "engineer",
    "operations",
    "administrator",  # works on no job either, and sees them all
)
TABLE = [*PAGES, *INTERFACE]


def _routes(
    patterns: list[URLPattern | URLResolver], inside: str = ""
) -> Iterator[str]:
    for each in patterns:
        if isinstance(each, URLResolver):
            space = f"{inside}{each.namespace}:" if each.namespace else inside
            yield from _routes(each.url_patterns, space)
        else:
            yield f"{inside}{each.name or each.pattern}"


@pytest.fixture
def place(job: Job, operations: Person, field_lead: Person, engineer: Person) -> Place:
    """Return a building measured as planned but for three low pads, two decided."""
    return make_place(job, operations, field_lead, engineer)


def _request_status(row: Row, place: Place, visitor: Person | None) -> int:
    """Ask as this visitor, and leave no trace."""
    client = Client()
    if visitor is not None:
        client.force_login(visitor, "django.contrib.auth.backends.ModelBackend")
    given: dict[str, Any] = {}
    if row.method != "GET":
        given["data"] = row.body(place)
        if row in INTERFACE and not row.multipart:
            given["content_type"] = "application/json"
    address = reverse(row.name, args=row.args(place))
    with transaction.atomic():
        answer = getattr(client, row.method.lower())(address, **given)
        transaction.set_rollback(True)
    return int(answer.status_code)


@pytest.mark.parametrize("kind", VISITORS)
def test_each_visitor_gets_what_the_table_says(
    kind: str, place: Place, request: pytest.FixtureRequest
) -> None:
    visitor = None if kind == "anonymous" else request.getfixturevalue(kind)
    column = VISITORS.index(kind)
    wrong = {
        f"{row.method} {row.name}": (answered, row.codes[column])
        for row in TABLE
        if (answered := _request_status(row, place, visitor)) != row.codes[column]
    }
    assert wrong == {}, "answered, and what the table says"


def test_every_address_is_in_the_table() -> None:
    routes = set(_routes(get_resolver().url_patterns))
    named = {row.name for row in TABLE}
    assert routes - named == set(), "not in the table"
    assert named - routes == set(), "not there any more"


def test_only_these_addresses_are_open_to_everybody() -> None:
    shut = (302, 401, 404)
    assert {row.name for row in TABLE if row.codes[0] not in shut} == {
        "sign-in",
        "passkey-sign-in",
        "health-live",
        "health-ready",
        "checks:service_worker",
        "checks:offline",
        "notifications:unsubscribe",
        "notifications:calendar",
        "checks:verify_release",
        "checks:verify_digest",
        "accounts:invitation",
        "set-password",
        "forgotten-password",
        "api:verify",
        "api:document-schema",
        "api:schema",
        "api:docs",
    }
