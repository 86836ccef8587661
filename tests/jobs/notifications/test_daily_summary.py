"""The morning's digest: what can ship, what stops the rest, what is new."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone
from django.utils.timezone import now

from core.models import Person, Role
from jobs import services
from jobs.models import Building, Job
from jobs.notifications import daily_summary, emails, tasks
from jobs.notifications.models import Email, Event
from jobs.notifications.outbox import EventSubject, record_events
from tests import example_buildings, factories
from tests.jobs.notifications.email_text import links_of, words_of

pytestmark = pytest.mark.django_db
Kind = Event.Kind


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Callable[[datetime], None]:
    """Let it be another time for everybody who asks Django."""

    def tell(moment: datetime) -> None:
        for module in (timezone, daily_summary, emails):
            monkeypatch.setattr(module, "now", lambda: moment)

    return tell


def morning(day: int, hour: int = 6, minute: int = 30) -> datetime:
    return datetime(2027, 3, day, hour, minute, tzinfo=UTC)


def set_time_zone(person: Person, name: str) -> None:
    Person.objects.filter(pk=person.pk).update(time_zone=name)


def open_finding(building: Building, when: datetime, topic: str = "level:S2") -> None:
    about = EventSubject(kind="finding", pk=7, detail={"finding": topic})
    record_events(Kind.FINDING_OPENED, building=building, actor=None, subjects=[about])
    Event.objects.filter(pk=Event.objects.latest("pk").pk).update(at=when)


def send_summaries() -> list[str]:
    """Run the task, and give who has got a digest so far."""
    tasks.send_daily_summaries.delay()
    return [message.to[0] for message in mail.outbox]


def test_what_is_new_is_told_once_to_the_operations_manager(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    open_finding(building, morning(1, 22))
    at(morning(2))
    assert send_summaries() == [operations.email]
    for words in words_of(mail.outbox[0]):
        assert "Pad S2" in words
        assert "Finding opened, Larch yard shed" in words
    assert mail.outbox[0].subject == "Padstone: 1 new finding"
    assert send_summaries() == [operations.email]


def test_nothing_is_sent_where_nothing_changed(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    at(morning(2))
    assert send_summaries() == []
    open_finding(building, morning(2, 9))
    at(morning(3))
    assert send_summaries() == [operations.email]
    at(morning(4))
    assert send_summaries() == [operations.email]
    assert Email.objects.latest("pk").outcome == "unneeded"


def test_each_thing_is_in_one_digest_however_late_it_was_written(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    emails.get_preferences(operations)
    # Some minutes before a digest it may not be there to see yet: the next has it.
    for minute in (15, 25, 29, 35):
        open_finding(building, morning(2, 6, minute), f"level:{minute}")
    at(morning(2))
    send_summaries()
    at(morning(3))
    send_summaries()
    first, second = (words_of(message)[0] for message in mail.outbox)
    assert [f"Pad {minute}" in first for minute in (15, 25, 29, 35)] == [
        True, False, False, False,
    ]  # fmt: skip
    assert [f"Pad {minute}" in second for minute in (15, 25, 29, 35)] == [
        False, True, True, True,
    ]  # fmt: skip


def test_each_gets_it_in_the_morning_of_their_own_day(
    building: Building, operations: Person, job: Job, at: Callable[[datetime], None]
) -> None:
    far = factories.person("oriel", Role.OPERATIONS)
    services.set_membership(actor=operations, job=job, person=far, role=Role.OPERATIONS)
    set_time_zone(far, "America/Denver")
    open_finding(building, morning(2, 1))
    at(morning(2))  # 23:30 of the day before in Denver, UTC-7
    assert send_summaries() == [operations.email]
    at(morning(2, 12, 59))
    assert send_summaries() == [operations.email]
    at(morning(2, 13, 1))
    assert send_summaries() == [operations.email, far.email]


def test_times_in_it_are_those_of_its_reader(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    set_time_zone(operations, "America/Denver")
    open_finding(building, morning(2, 1))
    at(morning(2, 14))
    send_summaries()
    for words in words_of(mail.outbox[0]):
        assert "1 Mar 2027, 18:30 MST" in words


def test_after_the_morning_it_waits_for_the_next_one(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    open_finding(building, morning(2, 1))
    at(morning(2, 5, 59))
    assert send_summaries() == []
    at(morning(2, 12, 1))
    assert send_summaries() == []


def test_the_hour_is_a_setting(
    building: Building,
    operations: Person,
    at: Callable[[datetime], None],
    settings,
) -> None:
    settings.DAILY_SUMMARY_HOUR = 4
    open_finding(building, morning(2, 1))
    at(morning(2, 4, 5))
    assert send_summaries() == [operations.email]


def test_only_operations_managers_of_a_job_get_one(
    building: Building,
    field_lead: Person,
    engineer: Person,
    administrator: Person,
    stranger: Person,
    operations: Person,
    at: Callable[[datetime], None],
) -> None:
    open_finding(building, morning(2, 1))
    at(morning(2))
    assert send_summaries() == [operations.email]


def test_whoever_turned_it_off_gets_none(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    emails.save_preferences(
        actor=operations, daily_summary=False, decision_reminder=True
    )
    open_finding(building, morning(2, 1))
    at(morning(2))
    assert send_summaries() == []


def test_only_jobs_its_reader_sees_when_it_is_sent_are_in_it(
    building: Building,
    operations: Person,
    stranger: Person,
    job: Job,
    at: Callable[[datetime], None],
) -> None:
    secret = factories.building(
        factories.job(stranger),
        stranger,
        example_buildings.shed(name="Hidden barn"),
    )
    open_finding(secret, morning(2, 1), "level:H1")
    open_finding(building, morning(2, 1))
    other = factories.job(operations)
    services.set_membership(
        actor=operations, job=job, person=stranger, role=Role.OPERATIONS
    )
    services.set_membership(actor=operations, job=job, person=operations, role=None)
    at(morning(2))
    assert other.memberships.filter(person=operations).exists()
    assert send_summaries() == [stranger.email]
    words = words_of(mail.outbox[0])[0]
    assert "Pad H1" in words
    assert "Pad S2" in words


def test_what_can_ship_and_what_stops_the_rest_is_in_it_with_absolute_links(
    operations: Person, at: Callable[[datetime], None], settings
) -> None:
    settings.PUBLIC_URL = "https://padstone.example"
    ships = factories.job(operations, ship_date=morning(5).date())
    ready = factories.building(
        ships, operations, example_buildings.shed(name="Ready hall")
    )
    stopped = factories.building(
        ships, operations, example_buildings.shed(name="Stopped hall")
    )
    services.set_stage_state(ready, "verification", "ready")
    services.set_stage_state(stopped, "verification", "held", "3 checks not measured")
    at(morning(2))
    assert send_summaries() == [operations.email]
    (message,) = mail.outbox
    assert message.subject == "Padstone: 1 of 2 due this week can ship"
    for words in words_of(message):
        assert "1 of 2 buildings due by 9 Mar 2027 can ship." in words
        assert "3 checks not measured" in words
        assert "ships in 3 days, 5 Mar 2027" in words
        assert "Ready hall" in words
    written, linked = links_of(message)
    assert written == linked
    for building in (ready, stopped):
        assert f"https://padstone.example{building.get_absolute_url()}" in linked
    assert all(link.startswith("https://padstone.example/") for link in linked)


def test_the_next_digest_comes_when_what_stops_it_changes_not_when_a_day_passes(
    operations: Person, at: Callable[[datetime], None]
) -> None:
    ships = factories.job(operations, ship_date=morning(8).date())
    hall = factories.building(ships, operations, example_buildings.shed())
    at(morning(2))
    assert len(send_summaries()) == 1
    at(morning(3))
    assert len(send_summaries()) == 1
    services.set_stage_state(hall, "verification", "held", "strength not met")
    at(morning(4))
    assert len(send_summaries()) == 2
    services.update_job(
        actor=operations,
        job=ships,
        number=ships.number,
        name=ships.name,
        customer=ships.customer,
        site=ships.site,
        ship_date=None,
    )
    at(morning(5))
    assert len(send_summaries()) == 3
    assert mail.outbox[2].subject == "Padstone: nothing is due this week any more"
    at(morning(6))
    assert len(send_summaries()) == 3


def test_what_is_new_beyond_a_page_is_counted(
    building: Building, operations: Person, at: Callable[[datetime], None]
) -> None:
    about = [
        EventSubject(kind="finding", pk=n, detail={"finding": f"level:{n}"})
        for n in range(daily_summary.MAX_NEWS_EVENTS + 5)
    ]
    record_events(Kind.FINDING_OPENED, building=building, actor=None, subjects=about)
    Event.objects.update(at=morning(2, 1))
    at(morning(2))
    send_summaries()
    (message,) = mail.outbox
    assert message.subject == "Padstone: 65 updates"
    for words in words_of(message):
        assert "And 5 more on the job pages." in words


def test_a_digest_takes_as_many_queries_for_many_jobs_as_for_one(
    operations: Person,
    at: Callable[[datetime], None],
    django_assert_max_num_queries,
) -> None:
    counts = []
    for day, many in ((2, 1), (3, 9)):
        for number in range(many):
            ships = factories.job(operations, ship_date=morning(5).date())
            for name in ("One", "Two"):
                hall = factories.building(
                    ships, operations, example_buildings.shed(name=name)
                )
                open_finding(hall, morning(day, 1), f"level:{number}")
        at(morning(day))
        with django_assert_max_num_queries(40) as counted:
            tasks.send_daily_summaries()
        counts.append(len(counted))
    assert len(mail.outbox) == 2
    assert counts[1] <= counts[0]


def test_what_is_long_over_is_forgotten(building: Building, operations: Person) -> None:
    open_finding(building, now() - timedelta(days=91), "level:O1")
    open_finding(building, now() - timedelta(days=89), "level:N1")
    tasks.delete_expired_notifications()
    kept = Event.objects.filter(kind=Kind.FINDING_OPENED)
    assert [row.detail["finding"] for row in kept] == ["level:N1"]
