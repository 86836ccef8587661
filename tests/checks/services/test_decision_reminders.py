"""A finding waits for you: gathered, once, to those whose decision it is."""

from datetime import timedelta

import pytest
from django.core import mail
from django.utils.timezone import now

from checks import tasks
from checks.models import Finding
from checks.services.findings import decide_finding
from checks.services.readings import record_readings
from core.models import Person, Role
from jobs.models import Building, Job
from jobs.notifications import emails
from jobs.notifications.models import Email, Event
from jobs.services import set_membership
from tests import factories
from tests.checks.conftest import Measure, entry
from tests.jobs.notifications.email_text import links_of, sent_as, words_of

pytestmark = pytest.mark.django_db


def minutes_pass(minutes: float = 11) -> None:
    """Let what was announced so far be older."""
    for row in Event.objects.all():
        row.at -= timedelta(minutes=minutes)
        row.save(update_fields=["at"])


def send_reminders() -> list[str]:
    """Run the task, and give who has got a letter so far."""
    tasks.send_decision_reminders.delay()
    return [message.to[0] for message in mail.outbox]


def test_findings_are_gathered_into_one_letter_after_some_minutes(
    low_pad: Finding, measure: Measure, engineer: Person
) -> None:
    minutes_pass(6)
    assert send_reminders() == []
    measure(entry("level:S3", "1007 mm"))
    assert send_reminders() == []
    minutes_pass(6)
    assert send_reminders() == [engineer.email]
    (message,) = mail.outbox
    assert message.subject.startswith("Padstone: 2 findings need your decision on J-")
    for words in words_of(message):
        assert "Pads S2" in words or "Pad S2" in words
        assert "S3" in words


def test_what_was_told_is_not_told_again(low_pad: Finding, engineer: Person) -> None:
    minutes_pass()
    assert send_reminders() == [engineer.email]
    minutes_pass()
    assert send_reminders() == [engineer.email]


def test_nobody_but_the_engineers_of_the_job_is_told(
    low_pad: Finding, engineer: Person, job: Job, operations: Person
) -> None:
    factories.person("edda", Role.ENGINEER)  # on no job
    second = factories.person("ezra", Role.ENGINEER)
    set_membership(actor=operations, job=job, person=second, role=Role.ENGINEER)
    minutes_pass()
    assert sorted(send_reminders()) == [engineer.email, second.email]


def test_each_job_has_a_letter_of_its_own(
    low_pad: Finding, engineer: Person, operations: Person, field_lead: Person
) -> None:
    from tests.example_buildings import shed

    other = factories.job(operations, field_lead=field_lead, engineer=engineer)
    barn = factories.building(other, operations, shed(name="Barn"))
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1009 mm")]
    record_readings(actor=field_lead, building=barn, entries=low)
    minutes_pass()
    assert send_reminders() == [engineer.email] * 2
    first, second = (words_of(message)[0] for message in mail.outbox)
    assert "Barn" in second
    assert "Barn" not in first


def test_whoever_measured_is_not_told_of_it(
    building: Building, engineer: Person, job: Job, operations: Person
) -> None:
    second = factories.person("ezra", Role.ENGINEER)
    set_membership(actor=operations, job=job, person=second, role=Role.ENGINEER)
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=engineer, building=building, entries=low)
    minutes_pass()
    assert send_reminders() == [second.email]


def test_what_was_decided_meanwhile_is_left_out(
    low_pad: Finding, engineer: Person, measure: Measure
) -> None:
    measure(entry("level:S3", "1007 mm"))
    decide_finding(actor=engineer, finding=low_pad, choice=0, disposition="rework")
    minutes_pass()
    assert send_reminders() == [engineer.email]
    plain, html = words_of(mail.outbox[0])
    assert "Pad S3" in plain
    assert "Pad S3" in html
    assert "Pad S2" not in plain + html


def test_where_nothing_waits_any_more_no_letter_is_sent(
    low_pad: Finding, engineer: Person
) -> None:
    decide_finding(actor=engineer, finding=low_pad, choice=0, disposition="rework")
    minutes_pass()
    assert send_reminders() == []
    assert Email.objects.get().outcome == Email.Outcome.UNNEEDED


def test_a_decision_to_be_looked_at_again_is_told_as_that(
    low_pad: Finding, engineer: Person, measure: Measure
) -> None:
    minutes_pass()
    assert send_reminders() == [engineer.email]
    decide_finding(actor=engineer, finding=low_pad, choice=0, disposition="rework")
    measure(entry("level:S2", "1011 mm"))
    measure(entry("level:S2", "1011 mm"))
    minutes_pass()
    assert send_reminders() == [engineer.email] * 2
    for words in words_of(mail.outbox[1]):
        assert (
            "Review again: the readings or the plan behind the decision changed."
            in words
        )


def test_an_engineer_taken_off_the_job_is_not_told(
    low_pad: Finding, engineer: Person, job: Job, operations: Person
) -> None:
    minutes_pass()
    Email.objects.create(
        key="due",
        kind="decision_reminder",
        person=engineer,
        job=job,
        subject_ids=[low_pad.pk],
    )
    set_membership(actor=operations, job=job, person=engineer, role=None)
    assert send_reminders() == []


@pytest.mark.parametrize("change", [{"is_active": False}, {"email": ""}])
def test_an_account_that_is_closed_or_has_no_address_gets_none(
    low_pad: Finding, engineer: Person, change: dict[str, object]
) -> None:
    Person.objects.filter(pk=engineer.pk).update(**change)
    minutes_pass()
    assert send_reminders() == []


def test_whoever_turned_it_off_is_not_told(low_pad: Finding, engineer: Person) -> None:
    emails.save_preferences(actor=engineer, daily_summary=True, decision_reminder=False)
    minutes_pass()
    assert send_reminders() == []


def test_both_texts_say_it_all_and_nothing_is_fetched_from_elsewhere(
    low_pad: Finding, engineer: Person, job: Job, settings
) -> None:
    settings.PUBLIC_URL = "https://padstone.example/"
    job.ship_date = now().date() + timedelta(days=3)
    job.save()
    minutes_pass()
    send_reminders()
    (message,) = mail.outbox
    reason = low_pad.remedies[0]["reason"]
    for words in words_of(message):
        for said in (f"{job}", "Larch yard shed", "Pad S2", reason, "in 3 days"):
            assert said in words
        assert "engineer of record" in words
        assert "because you are an engineer of this job" in words
    written, linked = links_of(message)
    assert written == linked
    assert f"https://padstone.example{low_pad.get_absolute_url()}" in linked
    assert all(link.startswith("https://padstone.example/") for link in linked)
    html = str(message.alternatives[0][0])
    assert "src=" not in html
    assert "url(" not in html
    assert "@import" not in html


def test_it_says_how_to_stop_it_as_rfc_8058_asks(
    low_pad: Finding, engineer: Person
) -> None:
    minutes_pass()
    send_reminders()
    wire = sent_as(mail.outbox[0])
    stop = emails.unsubscribe_url(emails.get_preferences(engineer), "decision_reminder")
    assert wire["List-Unsubscribe"].strip() == f"<{stop}>"  # it is folded
    assert wire["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert wire["Auto-Submitted"] == "auto-generated"
    kinds = [part.get_content_type() for part in wire.iter_parts()]
    assert kinds == ["text/plain", "text/html"]


def test_names_cannot_write_html_or_headers(
    low_pad: Finding, engineer: Person, job: Job
) -> None:
    job.name = "<b>Barn</b>\nBcc: somebody@example.org"
    job.save()
    minutes_pass()
    send_reminders()
    (message,) = mail.outbox
    assert "<b>Barn" not in str(message.alternatives[0][0])
    assert "<b>Barn</b>" in message.body
    assert sent_as(message)["Bcc"] is None


def test_a_letter_takes_as_many_queries_for_many_findings_as_for_two(
    low_pad: Finding, measure: Measure, django_assert_max_num_queries
) -> None:
    measure(entry("level:S3", "1007 mm"))
    minutes_pass()
    with django_assert_max_num_queries(30) as few:
        tasks.send_decision_reminders()
    pads = {"N1": "1012 mm", "N2": "1019 mm", "N3": "1024 mm"}
    measure(*(entry(f"level:{mark}", height) for mark, height in pads.items()))
    minutes_pass()
    with django_assert_max_num_queries(len(few)):
        tasks.send_decision_reminders()
    assert len(mail.outbox) == 2
