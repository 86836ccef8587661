"""The view log: one entry a day, and none for a prefetch."""

from datetime import timedelta
from typing import Any

import pgtrigger
import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from checks.models import Finding, Release
from checks.queries.audit_log.rows import AuditLogFilter
from checks.services.releases import sign_release
from core.models import Person
from jobs.accounts.models import ViewLogEntry
from jobs.accounts.view_log import record_view
from jobs.models import Building, Job
from tests.checks.conftest import Measure, as_planned
from tests.checks.queries.audit_log_pages import signed_in, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shipped(building: Building, measure: Measure, operations: Person) -> Release:
    measure(*as_planned(building, "foundation", "verification"))
    return sign_release(actor=operations, building=building, kind="ship")


def test_what_somebody_opens_is_told_once_a_day(
    job: Job, shipped: Release, engineer: Person
) -> None:
    client = signed_in(engineer)
    for _ in range(2):
        client.get(shipped.building.get_absolute_url())
        client.get(shipped.get_absolute_url())
        client.get(reverse("checks:release_pdf", args=[shipped.pk]))
    assert words_of(job, AuditLogFilter(kind="opened")) == [
        ("Emery", "Opened the building"),
        ("Emery", "Opened the release: Ship release (verification)"),
        ("Emery", "Downloaded the PDF: Ship release (verification)"),
    ]


def test_opening_a_finding_is_told(
    job: Job, low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    for person in (engineer, field_lead):
        signed_in(person).get(low_pad.get_absolute_url())
    assert words_of(job, AuditLogFilter(kind="opened")) == [
        ("Emery", "Opened the finding: Pad S2"),
        ("Fern", "Opened the finding: Pad S2"),
    ]


def test_another_day_is_another_sight(building: Building, engineer: Person) -> None:
    signed_in(engineer).get(building.get_absolute_url())
    with pgtrigger.ignore("accounts.ViewLogEntry:append_only"):
        ViewLogEntry.objects.update(day=localdate() - timedelta(days=1))
    signed_in(engineer).get(building.get_absolute_url())
    assert ViewLogEntry.objects.count() == 2


@pytest.mark.parametrize(
    "headers",
    [{"sec-purpose": "prefetch"}, {"sec-purpose": "prefetch;prerender"},
     {"purpose": "prefetch"}],
)  # fmt: skip
def test_what_a_browser_fetches_ahead_was_not_seen(
    building: Building, engineer: Person, headers: dict[str, str]
) -> None:
    client = signed_in(engineer, **headers)
    assert client.get(building.get_absolute_url()).status_code == 200
    client = signed_in(engineer)
    client.head(building.get_absolute_url())
    assert not ViewLogEntry.objects.exists()


def test_what_somebody_may_not_open_was_not_seen(
    building: Building, stranger: Person
) -> None:
    assert signed_in(stranger).get(building.get_absolute_url()).status_code == 404
    assert not ViewLogEntry.objects.exists()


def test_a_sight_is_one_statement(
    building: Building, engineer: Person, django_assert_num_queries: Any
) -> None:
    for _ in range(2):
        with django_assert_num_queries(1):
            record_view(
                actor=engineer,
                building=building,
                kind="building",
                object_id=building.pk,
            )
    assert ViewLogEntry.objects.count() == 1


def test_a_sight_is_never_edited(building: Building, engineer: Person) -> None:
    signed_in(engineer).get(building.get_absolute_url())
    with pytest.raises(DatabaseError, match="Cannot"), transaction.atomic():
        ViewLogEntry.objects.all().delete()
