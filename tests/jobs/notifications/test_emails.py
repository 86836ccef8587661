"""Letters are sent once or not at all, to whoever wants them."""

import threading

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.urls import reverse

from core.models import Person, Role
from jobs.notifications import emails
from jobs.notifications.emails import EmailContent, send_due_emails
from jobs.notifications.models import Email, EmailPreferences
from tests import factories
from tests.jobs.notifications.samples import path_of

pytestmark = pytest.mark.django_db
BOXES = "tests.jobs.notifications.smtp_backends"
DRAFT = EmailContent(
    subject="A webhook",
    template="jobs/emails/webhook_disabled",
    context={"webhook": {"url": "u", "job": "", "pk": 1}, "reason": "r"},
)


def compose(letter: Email) -> EmailContent | None:
    return DRAFT


def due(person: Person, key: str = "one", kind: str = "webhook_disabled") -> Email:
    return Email.objects.create(key=key, kind=kind, person=person)


def test_a_letter_is_sent_once_however_often_the_task_runs(operations: Person) -> None:
    letter = due(operations)
    assert [send_due_emails("webhook_disabled", compose) for _ in range(3)] == [1, 0, 0]
    assert [message.to for message in mail.outbox] == [[operations.email]]
    letter.refresh_from_db()
    assert letter.outcome == "sent"
    assert letter.processed_at is not None


def test_a_worker_that_dies_after_the_mark_loses_the_letter_and_repeats_none(
    operations: Person, settings
) -> None:
    letter = due(operations)
    settings.EMAIL_BACKEND = f"{BOXES}.CrashingBackend"
    with pytest.raises(KeyboardInterrupt):
        send_due_emails("webhook_disabled", compose)
    letter.refresh_from_db()
    assert letter.outcome == "sent"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert send_due_emails("webhook_disabled", compose) == 0
    assert mail.outbox == []


def test_a_worker_that_dies_before_the_mark_leaves_the_letter_due(
    operations: Person,
) -> None:
    letter = due(operations)

    def die(letter: Email) -> EmailContent | None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        send_due_emails("webhook_disabled", die)
    letter.refresh_from_db()
    assert letter.processed_at is None
    assert send_due_emails("webhook_disabled", compose) == 1


def test_while_the_mail_server_cannot_be_reached_letters_wait(
    operations: Person, settings
) -> None:
    letter = due(operations)
    settings.EMAIL_BACKEND = f"{BOXES}.UnreachableBackend"
    assert send_due_emails("webhook_disabled", compose) == 0
    letter.refresh_from_db()
    assert letter.processed_at is None
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert send_due_emails("webhook_disabled", compose) == 1


def test_a_letter_the_server_refuses_is_not_tried_again_and_the_next_run_goes_on(
    operations: Person, engineer: Person, settings
) -> None:
    refused, fine = due(operations), due(engineer, "two")
    settings.EMAIL_BACKEND = f"{BOXES}.RejectingBackend"
    assert send_due_emails("webhook_disabled", compose) == 0
    assert send_due_emails("webhook_disabled", compose) == 1
    refused.refresh_from_db()
    fine.refresh_from_db()
    assert (refused.outcome, refused.error) == ("failed", "SMTPRecipientsRefused")
    assert fine.outcome == "sent"
    assert send_due_emails("webhook_disabled", compose) == 0


def test_a_letter_that_cannot_be_written_holds_up_no_other(
    operations: Person, engineer: Person
) -> None:
    broken = due(operations)
    due(engineer, "two")

    def stumble(letter: Email) -> EmailContent | None:
        if letter.pk == broken.pk:
            raise LookupError
        return DRAFT

    assert send_due_emails("webhook_disabled", stumble) == 1
    broken.refresh_from_db()
    assert broken.processed_at is None


def test_a_letter_of_yesterday_is_not_sent_any_more(operations: Person) -> None:
    letter = due(operations)
    letter.created_at -= emails.MAX_EMAIL_AGE
    letter.save()
    assert send_due_emails("webhook_disabled", compose) == 0


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_send_one_letter(operations: Person) -> None:
    due(operations)
    other: list[int] = []

    def meanwhile() -> None:
        other.append(send_due_emails("webhook_disabled", compose))
        connection.close()

    def slowly(letter: Email) -> EmailContent | None:
        second = threading.Thread(target=meanwhile)
        second.start()
        second.join()
        return DRAFT

    assert send_due_emails("webhook_disabled", slowly) == 1
    assert other == [0]
    assert len(mail.outbox) == 1


@pytest.mark.parametrize("kind", ["daily_summary", "decision_reminder"])
def test_one_click_stops_one_kind_of_letter_without_a_session(
    kind: str, engineer: Person
) -> None:
    address = path_of(emails.unsubscribe_url(emails.get_preferences(engineer), kind))
    mail_program = Client(enforce_csrf_checks=True)
    # RFC 8058 section 3.1: this body, no cookie, and no redirect.
    answer = mail_program.post(
        address,
        "List-Unsubscribe=One-Click",
        content_type="application/x-www-form-urlencoded",
    )
    assert answer.status_code == 200
    choices = EmailPreferences.objects.get(person=engineer)
    assert not getattr(choices, kind)
    assert choices.daily_summary != choices.decision_reminder
    assert engineer not in emails.filter_recipients(kind)


def test_opening_the_link_stops_nothing_and_names_nobody(
    client: Client, engineer: Person
) -> None:
    address = path_of(
        emails.unsubscribe_url(emails.get_preferences(engineer), "decision_reminder")
    )
    page = client.get(address)
    assert page.status_code == 200
    assert EmailPreferences.objects.get(person=engineer).decision_reminder
    for told in (page.text, client.post(address).text, address):
        for secret in (engineer.username, engineer.first_name, engineer.email):
            assert secret not in told


def test_a_link_somebody_made_up_is_not_there(client: Client, engineer: Person) -> None:
    choices = emails.get_preferences(engineer)
    good = (
        emails.unsubscribe_url(choices, "decision_reminder")
        .rstrip("/")
        .rpartition("/")[2]
    )
    unsigned = f"{choices.unsubscribe_key.hex}.decision_reminder"
    other_kind = good.replace(".decision_reminder:", ".daily_summary:")
    for token in (unsigned, other_kind, good[:-1], f"{unsigned}:x", "x"):
        address = reverse("notifications:unsubscribe", args=[token])
        assert client.get(address).status_code == 404
        assert client.post(address).status_code == 404
    assert EmailPreferences.objects.get(person=engineer).decision_reminder


def test_each_kind_is_turned_off_and_on_in_the_account(
    client: Client, engineer: Person
) -> None:
    client.force_login(engineer)
    page = reverse("notifications:email_preferences")
    client.post(page, {"daily_summary": "on"})
    choices = EmailPreferences.objects.get(person=engineer)
    assert (choices.daily_summary, choices.decision_reminder) == (True, False)
    assert client.get(page).text.count("checked") == 1
    client.post(page, {"decision_reminder": "on"})
    choices.refresh_from_db()
    assert (choices.daily_summary, choices.decision_reminder) == (False, True)


def test_somebody_without_an_address_is_told_so(client: Client) -> None:
    client.force_login(factories.person("ida", Role.FIELD))
    assert (
        "ida@example.org" in client.get(reverse("notifications:email_preferences")).text
    )
    Person.objects.update(email="")
    assert (
        "has no e-mail address"
        in client.get(reverse("notifications:email_preferences")).text
    )


def test_a_links_token_is_not_written_to_the_log(
    client: Client, engineer: Person, caplog: pytest.LogCaptureFixture
) -> None:
    address = path_of(
        emails.unsubscribe_url(emails.get_preferences(engineer), "decision_reminder")
    )
    token = address.rstrip("/").rpartition("/")[2]
    caplog.set_level("INFO")
    client.get(address)
    assert "/unsubscribe/" in caplog.text
    assert token not in caplog.text
