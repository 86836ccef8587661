"""Ship dates and forecasts of the strength gates as iCalendar, RFC 5545."""

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import localdate, now
from icalendar import Calendar

from core.models import Person, Role
from jobs import services
from jobs.models import Building, Job
from jobs.notifications import calendar_feed
from jobs.notifications.models import CalendarDate, CalendarKey
from tests import factories
from tests.jobs.notifications.samples import path_of

pytestmark = pytest.mark.django_db
# RFC 5545 section 3.6.1, and 3.8.7.3 (CREATED), 3.8.7.4 (SEQUENCE) for what is kept.
NEEDED = ("UID", "DTSTAMP", "DTSTART", "SUMMARY", "SEQUENCE", "STATUS")


def ship_on(job: Job, actor: Person, day: date | None, **words: str) -> None:
    said = {name: getattr(job, name) for name in ("number", "name", "customer", "site")}
    services.update_job(actor=actor, job=job, ship_date=day, **{**said, **words})


def in_days(days: int) -> date:
    return localdate() + timedelta(days=days)


@pytest.fixture
def address(operations: Person, job: Job) -> str:
    """Return the path of the manager's calendar."""
    return path_of(calendar_feed.create_calendar_key(actor=operations))


@pytest.fixture
def events(client: Client, address: str) -> Callable[[], dict[str, dict[str, object]]]:
    """Read the calendar as a calendar program does: events by their summaries."""

    def read() -> dict[str, dict[str, object]]:
        found = Calendar.from_ical(client.get(address).content)
        assert found.errors == []
        return {str(each["SUMMARY"]): each for each in found.walk("VEVENT")}

    return read


def test_a_ship_date_is_an_event_of_that_day(
    job: Job, operations: Person, client: Client, address: str
) -> None:
    ship_on(job, operations, in_days(9), site="Yard 3, Larch Road; gate B")
    answer = client.get(address)
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    found = Calendar.from_ical(answer.content)
    found.validate()
    assert (found["VERSION"], found["CALSCALE"]) == ("2.0", "GREGORIAN")
    assert found["PRODID"]
    assert "METHOD" not in found
    (event,) = found.walk("VEVENT")
    assert all(name in event for name in NEEDED)
    assert event["DTSTART"].dt == in_days(9)
    assert event["DTSTART"].params["VALUE"] == "DATE"
    assert event["SUMMARY"] == f"Ships: {job}"
    assert event["LOCATION"] == "Yard 3, Larch Road; gate B"
    assert event["STATUS"] == "CONFIRMED"
    assert event["TRANSP"] == "TRANSPARENT"
    assert event["URL"] == f"http://localhost:8000{job.get_absolute_url()}"


def test_lines_are_folded_and_ended_as_section_3_1_says(
    job: Job, operations: Person, client: Client, address: str
) -> None:
    ship_on(job, operations, in_days(9), customer="Ä" * 100)
    body = client.get(address).content
    assert body.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in body.replace(b"\r\n", b"")
    assert max(len(line) for line in body.split(b"\r\n")) <= 75
    unfolded = body.replace(b"\r\n ", b"").decode()
    assert f"DESCRIPTION:{'Ä' * 100}\\nA site" in unfolded
    for stamp in re.findall(r"(?:DTSTAMP|LAST-MODIFIED|CREATED):(\S+)", unfolded):
        assert re.fullmatch(r"\d{8}T\d{6}Z", stamp)


def test_a_date_that_moves_keeps_its_uid_and_counts_up(
    job: Job, operations: Person, events
) -> None:
    ship_on(job, operations, in_days(9))
    (before,) = events().values()
    ship_on(job, operations, in_days(9))
    (same,) = events().values()
    ship_on(job, operations, in_days(12))
    (after,) = events().values()
    assert before["UID"] == same["UID"] == after["UID"]
    assert [e["SEQUENCE"] for e in (before, same, after)] == [0, 0, 1]
    assert same["DTSTAMP"].dt == before["DTSTAMP"].dt
    assert after["DTSTART"].dt == in_days(12)


def test_other_words_count_up_as_well(job: Job, operations: Person, events) -> None:
    ship_on(job, operations, in_days(9))
    ship_on(job, operations, in_days(9), name="Larch yard")
    (event,) = events().values()
    assert event["SEQUENCE"] == 1
    assert event["SUMMARY"] == f"Ships: {job.number} Larch yard"


def test_a_date_taken_away_is_cancelled_and_comes_back_as_the_same(
    job: Job, operations: Person, events
) -> None:
    ship_on(job, operations, in_days(9))
    (before,) = events().values()
    ship_on(job, operations, None)
    (cancelled,) = events().values()
    assert (cancelled["STATUS"], cancelled["SEQUENCE"]) == ("CANCELLED", 1)
    assert (cancelled["UID"], cancelled["DTSTART"].dt) == (before["UID"], in_days(9))
    ship_on(job, operations, in_days(20))
    (again,) = events().values()
    assert (again["STATUS"], again["SEQUENCE"]) == ("CONFIRMED", 2)
    assert again["UID"] == before["UID"]


def test_a_calendar_without_dates_is_a_calendar_still(
    job: Job, client: Client, address: str
) -> None:
    found = Calendar.from_ical(client.get(address).content)
    found.validate()
    assert found.walk("VEVENT") == []
    # RFC 5545 section 3.6: an object has one component at least.
    assert [each.name for each in found.subcomponents] == ["VTIMEZONE"]


def test_a_job_opened_with_a_date_is_in_it_at_once(operations: Person, events) -> None:
    job = factories.job(operations, ship_date=in_days(4))
    assert list(events()) == [f"Ships: {job}"]


def test_a_forecast_is_tentative_and_goes_when_it_is_none_any_more(
    building: Building, events
) -> None:
    calendar_feed.update_strength_forecast(building, in_days(3), "A forecast.")
    (event,) = events().values()
    assert event["STATUS"] == "TENTATIVE"
    assert event["DESCRIPTION"] == "A forecast."
    assert str(event["SUMMARY"]).endswith(f"{building.job.number} {building}")
    calendar_feed.update_strength_forecast(building, None, "")
    (gone,) = events().values()
    assert (gone["STATUS"], gone["SEQUENCE"]) == ("CANCELLED", 1)
    calendar_feed.update_strength_forecast(building, None, "")
    (still,) = events().values()
    assert still["SEQUENCE"] == 1


def test_only_jobs_its_person_sees_now_are_in_it(
    job: Job, operations: Person, stranger: Person, events
) -> None:
    ship_on(job, operations, in_days(9))
    hidden = factories.job(stranger, ship_date=in_days(9))
    assert list(events()) == [f"Ships: {job}"]
    services.set_membership(
        actor=stranger, job=hidden, person=operations, role=Role.FIELD
    )
    assert len(events()) == 2
    services.set_membership(actor=stranger, job=hidden, person=operations, role=None)
    assert list(events()) == [f"Ships: {job}"]


def test_what_is_long_past_is_left_out(job: Job, operations: Person, events) -> None:
    ship_on(job, operations, in_days(-181))
    assert events() == {}
    ship_on(job, operations, in_days(-179))
    assert len(events()) == 1
    ship_on(job, operations, None)
    CalendarDate.objects.update(changed_at=now() - timedelta(days=91))
    assert events() == {}


def test_an_unchanged_calendar_is_not_sent_again(
    job: Job, operations: Person, client: Client, address: str
) -> None:
    ship_on(job, operations, in_days(9))
    first = client.get(address)
    etag, modified = first.headers["ETag"], first.headers["Last-Modified"]
    assert client.get(address, headers={"If-None-Match": etag}).status_code == 304
    since = {"If-Modified-Since": modified}
    assert client.get(address, headers=since).status_code == 304
    assert client.get(address).headers["Last-Modified"] == modified
    assert client.head(address).headers["ETag"] == etag
    ship_on(job, operations, in_days(10))
    changed = client.get(address, headers={"If-None-Match": etag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != etag


def test_being_put_on_a_job_changes_the_calendar_though_its_dates_are_old(
    job: Job, operations: Person, stranger: Person, client: Client, address: str
) -> None:
    hidden = factories.job(stranger, ship_date=in_days(9))
    CalendarDate.objects.update(changed_at=now() - timedelta(days=30))
    client.get(address)
    CalendarKey.objects.update(body_changed_at=now() - timedelta(days=2))
    modified = client.get(address).headers["Last-Modified"]
    services.set_membership(
        actor=stranger, job=hidden, person=operations, role=Role.FIELD
    )
    since = {"If-Modified-Since": modified}
    assert client.get(address, headers=since).status_code == 200


def test_the_address_is_shown_once_and_only_its_digest_is_kept(
    client: Client, operations: Person
) -> None:
    client.force_login(operations)
    page = client.post(reverse("notifications:calendar_key"), {"do": "create"})
    (address,) = re.findall(r"http://localhost:8000(/calendar/\S+\.ics)", page.text)
    token = address.removeprefix("/calendar/").removesuffix(".ics")
    assert len(token) >= 43  # 256 bits in Base64
    assert "no-store" in page.headers["Cache-Control"]
    assert Client().get(address).status_code == 200
    assert token not in client.get(reverse("notifications:email_preferences")).text
    kept = CalendarKey.objects.values().get(person=operations)
    assert token not in str(kept)


def test_a_new_address_ends_the_old_one_and_taking_it_back_ends_both(
    client: Client, operations: Person, address: str
) -> None:
    new = path_of(calendar_feed.create_calendar_key(actor=operations))
    assert client.get(address).status_code == 404
    assert client.get(new).status_code == 200
    client.force_login(operations)
    client.post(reverse("notifications:calendar_key"), {"do": "revoke"})
    assert Client().get(new).status_code == 404


def test_the_address_of_a_closed_account_gives_nothing(
    client: Client, operations: Person, address: str
) -> None:
    Person.objects.filter(pk=operations.pk).update(is_active=False)
    assert client.get(address).status_code == 404


def test_an_address_somebody_guessed_is_not_there(client: Client) -> None:
    guessed = reverse("notifications:calendar", args=["a" * 43])
    assert client.get(guessed).status_code == 404


def test_the_token_is_not_written_to_the_log(
    client: Client, address: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    client.get(address)
    assert "/calendar/" in caplog.text
    assert address not in caplog.text


def test_a_calendar_takes_as_many_queries_for_many_dates_as_for_one(
    client: Client,
    operations: Person,
    job: Job,
    address: str,
    django_assert_max_num_queries,
) -> None:
    ship_on(job, operations, in_days(9))
    with django_assert_max_num_queries(10) as few:
        client.get(address)
    for number in range(8):
        factories.job(operations, ship_date=in_days(number))
    with django_assert_max_num_queries(len(few)):
        client.get(address)
