"""Delivery of events to webhooks: repeated on failure, once where two try."""

import base64
import json
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from uuid import UUID

import pytest
from django.core import mail
from django.db import connection

from core.models import Person, Role
from jobs.models import Building, Job
from jobs.notifications import tasks, webhook_delivery, webhooks
from jobs.notifications.models import Delivery, Event, Webhook
from jobs.notifications.queries import describe_disabled
from jobs.services import set_membership
from tests.jobs.notifications.event_helpers import deliver_and_list, happen
from tests.jobs.notifications.samples import EVERYTHING
from tests.jobs.notifications.webhook_receiver import Receiver, refusal, say

pytestmark = pytest.mark.django_db
Kind = Event.Kind


def test_a_failed_delivery_is_tried_again_after_longer_and_longer_pauses_for_a_day(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    operations: Person,
    at: Callable[[timedelta], None],
) -> None:
    assert list(webhook_delivery.RETRY_PAUSES) == sorted(webhook_delivery.RETRY_PAUSES)
    assert sum(webhook_delivery.RETRY_PAUSES, timedelta()) == timedelta(days=1)
    receiver.reply = say(503)
    happen(building)
    passed = timedelta(seconds=1)
    at(passed)
    assert len(deliver_and_list(receiver)) == 1
    for tries, pause in enumerate(webhook_delivery.RETRY_PAUSES, start=1):
        at(passed + pause - timedelta(seconds=1))
        assert len(deliver_and_list(receiver)) == tries
        passed += pause + timedelta(seconds=1)
        at(passed)
        assert len(deliver_and_list(receiver)) == tries + 1
    webhook = Webhook.objects.get()
    assert describe_disabled(webhook) == (
        "No delivery was accepted for a day. The response was 503."
    )
    ids = {json.loads(got.body)["id"] for got in receiver.got}
    assert len(ids) == 1
    (message,) = mail.outbox
    assert message.to == [operations.email]
    assert "was switched off" in message.subject
    assert receiver.url in message.body
    at(passed + timedelta(days=2))
    assert len(deliver_and_list(receiver)) == len(webhook_delivery.RETRY_PAUSES) + 1


def test_one_that_recovers_gets_what_it_missed(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    at: Callable[[timedelta], None],
) -> None:
    receiver.reply = say(500)
    happen(building, pk=1)
    happen(building, pk=2)
    assert len(deliver_and_list(receiver)) == 1, "the second waits for the next run"
    receiver.reply = say(204)
    at(timedelta(minutes=2))
    deliver_and_list(receiver)
    assert Delivery.objects.exclude(accepted_at=None).count() == 2
    assert not Delivery.objects.exclude(error="").exists()
    assert Webhook.objects.get().disabled_at is None


def test_one_that_fails_holds_up_no_other(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    job: Job,
    operations: Person,
) -> None:
    dead, _ = webhooks.register_webhook(
        actor=operations, job=job, url="http://127.0.0.1:9/", events=EVERYTHING
    )
    for pk in range(3):
        happen(building, pk=pk)
    assert len(deliver_and_list(receiver)) == 3
    failed = Delivery.objects.filter(webhook=dead).order_by("pk")
    assert [row.attempts for row in failed] == [1, 0, 0]


def test_a_worker_that_dies_after_sending_sends_it_again_under_the_same_id(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    at: Callable[[timedelta], None],
) -> None:
    happen(building)
    webhook_delivery.create_deliveries()
    claimed = webhook_delivery._claim_delivery(
        ()
    )  # and nothing is noted of what came of it
    assert claimed is not None
    webhook_delivery._send_delivery(claimed[0])
    assert len(deliver_and_list(receiver)) == 1
    at(webhook_delivery.CLAIM_DURATION + timedelta(seconds=1))
    first, second = deliver_and_list(receiver)
    assert UUID(str(first["id"])) == UUID(str(second["id"]))


def test_what_its_owner_may_not_see_any_more_is_not_told(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    job: Job,
    operations: Person,
    stranger: Person,
) -> None:
    set_membership(actor=operations, job=job, person=stranger, role=Role.OPERATIONS)
    set_membership(actor=stranger, job=job, person=operations, role=Role.FIELD)
    happen(building)
    assert deliver_and_list(receiver) == []
    webhook = Webhook.objects.get()
    assert webhook.disabled_reason == "no_manager"
    # Somebody who does takes it over by switching it on.
    webhooks.switch_webhook(actor=stranger, webhook=webhook, on=True)
    happen(building)
    assert len(deliver_and_list(receiver)) == 1


def test_one_of_a_closed_account_is_told_nothing(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    operations: Person,
) -> None:
    Person.objects.filter(pk=operations.pk).update(is_active=False)
    happen(building)
    assert deliver_and_list(receiver) == []
    assert mail.outbox == []


def test_switched_off_it_is_told_nothing_not_even_later(
    receiver: Receiver,
    hooked: tuple[Webhook, str],
    building: Building,
    operations: Person,
) -> None:
    webhook, _ = hooked
    happen(building, pk=1)
    webhook_delivery.create_deliveries()
    webhooks.switch_webhook(actor=operations, webhook=webhook, on=False)
    happen(building, pk=2)
    assert deliver_and_list(receiver) == []
    webhooks.switch_webhook(actor=operations, webhook=webhook, on=True)
    assert deliver_and_list(receiver) == []
    happen(building, pk=3)
    assert len(deliver_and_list(receiver)) == 1


def test_a_trial_is_sent_signed_and_at_once_even_while_it_is_off(
    receiver: Receiver, hooked: tuple[Webhook, str], operations: Person
) -> None:
    webhook, secret = hooked
    webhooks.switch_webhook(actor=operations, webhook=webhook, on=False)
    delivery = webhook_delivery.send_test_event(actor=operations, webhook=webhook)
    assert (delivery.status, delivery.error) == (204, "")
    (got,) = receiver.got
    assert json.loads(got.body)["type"] == "trial"
    secrets = {f"webhook-{webhook.pk}": base64.b64decode(secret)}
    assert refusal(got, secrets, at=time.time()) == ""


def test_a_trial_that_fails_is_not_repeated(
    receiver: Receiver, hooked: tuple[Webhook, str], operations: Person
) -> None:
    receiver.reply = say(500)
    delivery = webhook_delivery.send_test_event(actor=operations, webhook=hooked[0])
    assert delivery.error == "The response was 500."
    assert len(deliver_and_list(receiver)) == 1


def test_a_webhook_removed_while_it_is_told_breaks_nothing(
    receiver: Receiver, hooked: tuple[Webhook, str], building: Building
) -> None:
    happen(building)
    webhook_delivery.create_deliveries()
    claimed = webhook_delivery._claim_delivery(())
    assert claimed is not None
    answer = webhook_delivery._send_delivery(claimed[0])
    Webhook.objects.all().delete()
    webhook_delivery.record_response(claimed[0], answer)
    assert not Delivery.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_tell_each_thing_once(
    receiver: Receiver, hooked: tuple[Webhook, str], building: Building
) -> None:
    for pk in range(6):
        happen(building, pk=pk)

    def work() -> None:
        tasks.deliver_webhooks()
        connection.close()

    workers = [threading.Thread(target=work) for _ in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    deliver_and_list(receiver)
    ids = [json.loads(got.body)["id"] for got in receiver.got]
    assert len(ids) == len(set(ids)) == Delivery.objects.count() == 6


def test_handing_out_takes_as_many_queries_for_many_webhooks_as_for_one(
    job: Job,
    operations: Person,
    building: Building,
    django_assert_max_num_queries,
) -> None:
    url = "https://nowhere.invalid/"
    said = {"actor": operations, "job": job, "url": url, "events": EVERYTHING}
    webhooks.register_webhook(**said)
    happen(building)
    with django_assert_max_num_queries(10) as few:
        assert webhook_delivery.create_deliveries() == 1
    for _ in range(4):
        webhooks.register_webhook(**said)
    for pk in range(5):
        happen(building, pk=pk)
    with django_assert_max_num_queries(len(few)):
        assert webhook_delivery.create_deliveries() == 25
