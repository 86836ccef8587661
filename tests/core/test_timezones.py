"""Pages in the reader's own time."""

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from django.utils import timezone

from core.models import Person
from core.timezones import activate_user_timezone, get_timezone


def zone_of_page(cookie: str) -> str:
    """In which zone a page is made for a browser that says this."""
    seen = []

    def page(request: HttpRequest) -> HttpResponse:
        seen.append(timezone.get_current_timezone_name())
        return HttpResponse()

    request = RequestFactory().get("/")
    request.COOKIES["zone"] = cookie
    activate_user_timezone(page)(request)
    return seen[0]


def test_a_page_is_made_in_the_zone_the_browser_names() -> None:
    assert zone_of_page("Asia/Kathmandu") == "Asia/Kathmandu"
    assert timezone.get_current_timezone_name() == "UTC"


def test_the_zone_of_the_account_comes_before_that_of_the_browser() -> None:
    names = []

    def page(request: HttpRequest) -> HttpResponse:
        names.append(timezone.get_current_timezone_name())
        return HttpResponse()

    request = RequestFactory().get("/")
    request.COOKIES["zone"] = "Asia/Kathmandu"
    for person in (Person(time_zone="America/Chicago"), Person()):
        request.user = person
        activate_user_timezone(page)(request)
    assert names == ["America/Chicago", "Asia/Kathmandu"]


@pytest.mark.parametrize("name", ["", "Nowhere/Here", "../../etc/passwd", "utc\x00"])
def test_a_word_that_names_no_zone_changes_nothing(name: str) -> None:
    assert get_timezone(name) is None
    assert zone_of_page(name) == "UTC"
