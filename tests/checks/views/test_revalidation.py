"""A page that did not change is neither rendered nor sent again."""

import gzip
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from core.models import Person
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building
from tests.checks.conftest import Measure, entry

pytestmark = pytest.mark.django_db
MAX_QUERIES_UNCHANGED = 12


@pytest.fixture
def reader(client: Client, field_lead: Person) -> Client:
    client.force_login(field_lead)
    return client


@pytest.fixture
def measured(building: Building, measure: Measure) -> Building:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm"))
    return building


def get_twice(client: Client, url: str) -> Any:
    """Open a page, then ask for it as a browser that has it."""
    client.get(url)  # sets the cookies
    first = client.get(url)
    assert first.status_code == 200
    return client.get(url, headers={"If-None-Match": first["ETag"]})


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("building", []),
        ("checks:levels", []),
        ("checks:shims", []),
        ("checks:position", ["S1"]),
        ("checks:check", ["level:S2"]),
        ("checks:building_result", []),
        ("checks:building_document", []),
    ],
)
def test_an_unchanged_page_is_not_sent_again(
    reader: Client, measured: Building, name: str, more: list[str]
) -> None:
    again = get_twice(reader, reverse(name, args=[measured.pk, *more]))
    assert (again.status_code, again.content) == (304, b"")


def test_an_unchanged_page_costs_few_queries(
    reader: Client, measured: Building, django_assert_max_num_queries: Any
) -> None:
    url = reverse("building", args=[measured.pk])
    reader.get(url)
    etag = reader.get(url)["ETag"]
    with django_assert_max_num_queries(MAX_QUERIES_UNCHANGED):
        assert reader.get(url, headers={"If-None-Match": etag}).status_code == 304


def test_a_page_is_sent_after_a_change(
    reader: Client, measured: Building, measure: Measure
) -> None:
    url = reverse("checks:levels", args=[measured.pk])
    reader.get(url)
    etag = reader.get(url)["ETag"]
    measure(entry("level:S3", "1003 mm"))
    changed = reader.get(url, headers={"If-None-Match": etag})
    assert changed.status_code == 200
    assert changed["ETag"] != etag


def test_another_reader_has_another_page(
    reader: Client, measured: Building, engineer: Person
) -> None:
    url = reverse("checks:levels", args=[measured.pk])
    reader.get(url)
    etag = reader.get(url)["ETag"]
    other = Client()
    other.force_login(engineer)
    assert other.get(url, headers={"If-None-Match": etag}).status_code == 200


def test_access_that_ended_is_noticed(reader: Client, measured: Building) -> None:
    url = reverse("checks:levels", args=[measured.pk])
    reader.get(url)
    etag = reader.get(url)["ETag"]
    measured.job.memberships.all().delete()
    assert reader.get(url, headers={"If-None-Match": etag}).status_code == 404


def test_a_view_of_an_unchanged_page_is_logged(
    reader: Client, measured: Building
) -> None:
    ViewLogEntry.objects.all().delete()
    again = get_twice(reader, reverse("building", args=[measured.pk]))
    assert again.status_code == 304
    assert ViewLogEntry.objects.filter(object_id=measured.pk).exists()


def test_the_body_of_a_building_is_rendered_once(
    reader: Client,
    measured: Building,
    measure: Measure,
    settings: Any,
) -> None:
    backend = "django.core.cache.backends.locmem.LocMemCache"
    settings.CACHES = {
        **settings.CACHES,
        "fragments": {"BACKEND": backend, "LOCATION": "tests"},
    }
    url = reverse("building", args=[measured.pk])
    first, again = reader.get(url), reader.get(url)
    rendered = "checks/building_body.html"
    assert rendered in [template.name for template in first.templates]
    assert rendered not in [template.name for template in again.templates]
    assert 'id="positions-head"' in again.content.decode()
    measure(entry("level:S3", "1003 mm"))
    assert rendered in [template.name for template in reader.get(url).templates]


def test_text_is_compressed_and_pages_with_a_secret_are_not(
    reader: Client, measured: Building
) -> None:
    accepts = {"Accept-Encoding": "gzip"}
    for name in ("building", "checks:building_result"):
        page = reader.get(reverse(name, args=[measured.pk]), headers=accepts)
        assert page["Content-Encoding"] == "gzip"
        assert len(page.content) < len(gzip.decompress(page.content)) / 3
    again = reader.get(
        reverse("checks:building_result", args=[measured.pk]),
        headers={**accepts, "If-None-Match": page["ETag"]},
    )
    assert again.status_code == 304
    tokens = reader.post(reverse("tokens:list"), {"name": "a phone", "days": 9})
    assert "no-store" in tokens["Cache-Control"]
    for response in (
        reader.get(reverse("tokens:list"), headers=accepts),
        reader.get(reverse("checks:sheet_pdf", args=[measured.pk]), headers=accepts),
    ):
        assert "Content-Encoding" not in response
