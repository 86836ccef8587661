"""Webhook delivery: create deliveries of events, send them, retry, give up.

Each event is sent *at least once*: a worker that dies after sending and before saving
the response sends it again, and so does one whose response was lost. The event's id
stays the same, so that the receiver can tell; the signature is new each time.
"""

import json
import logging
import time
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.urls import NoReverseMatch, reverse
from django.utils.timezone import now

from core.models import Person
from jobs.notifications import emails
from jobs.notifications.http_post import PostResponse, post_body
from jobs.notifications.http_signatures import build_signed_headers
from jobs.notifications.models import Delivery, Email, Event, Webhook
from jobs.notifications.queries import describe_disabled, disabled_message
from jobs.notifications.webhook_urls import WebhookUrlError, parse_webhook_url
from jobs.notifications.webhooks import (
    MAX_DETAIL_LENGTH,
    DisabledReason,
    disable_webhook,
    find_disable_reason,
    get_webhook_secret,
    require_webhook_manager,
)

logger = logging.getLogger(__name__)

EVENT_FORMAT = "padstone.event/1"
CONTENT_TYPE = "application/json"
TEST_EVENT_TYPE = "trial"  # part of the published event format
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
RETRY_PAUSES = (
    MINUTE, 5 * MINUTE, 15 * MINUTE, HOUR, 3 * HOUR, 6 * HOUR, 6 * HOUR,
    7 * HOUR + 39 * MINUTE,
)  # fmt: skip
"""Pauses between attempts: 24 hours in all, then the webhook is switched off."""
# Longer than one attempt can take; after it another worker may claim the delivery.
CLAIM_DURATION = 2 * MINUTE
MAX_EVENTS_PER_BATCH = 500
MAX_RUN_S = 100  # below the time limit of a Celery task


def create_deliveries() -> int:
    """Create a delivery of each new event for each webhook that subscribes to it.

    Returns
    -------
    int : number of deliveries created.
    """
    created = 0
    while True:
        events, deliveries = _create_delivery_batch()
        created += deliveries
        if events < MAX_EVENTS_PER_BATCH:
            return created


@transaction.atomic
def _create_delivery_batch() -> tuple[int, int]:
    waiting = Event.objects.filter(dispatched_at=None).order_by("pk")
    events = list(waiting.select_for_update(skip_locked=True)[:MAX_EVENTS_PER_BATCH])
    if not events:
        return 0, 0
    at = now()
    webhooks = list(Webhook.objects.filter(disabled_at=None))
    created = Delivery.objects.bulk_create(
        Delivery(webhook=webhook, event=event, next_attempt_at=at)
        for event in events
        for webhook in webhooks
        if _subscribes_to(webhook, event)
    )
    keys = [event.pk for event in events]
    Event.objects.filter(pk__in=keys).update(dispatched_at=at)
    return len(events), len(created)


def _subscribes_to(webhook: Webhook, event: Event) -> bool:
    return (
        webhook.job_id in (None, event.job_id)
        and event.kind in webhook.events
        # A new webhook does not receive what happened before it was registered.
        and event.at >= webhook.created_at
    )


def send_due_deliveries() -> int:
    """Send the deliveries that are due, longest due first.

    A webhook that fails is skipped for the rest of the run, so that it delays no other.

    Returns
    -------
    int : number of deliveries accepted.
    """
    accepted = 0
    failed: set[int] = set()
    began = time.monotonic()
    while time.monotonic() - began < MAX_RUN_S:
        claimed = _claim_delivery(failed)
        if claimed is None:
            break
        delivery, reason = claimed
        if reason is not None:
            _disable_and_notify(delivery, reason)
            failed.add(delivery.webhook_id)
            continue
        response = _send_delivery(delivery)
        record_response(delivery, response)
        if response.accepted:
            accepted += 1
        else:
            failed.add(delivery.webhook_id)
    return accepted


def _claim_delivery(
    failed: Collection[int],
) -> tuple[Delivery, DisabledReason | None] | None:
    """Claim the next due delivery, or return why its webhook must be switched off."""
    # Durable: the claim must be committed before anything is sent.
    with transaction.atomic(durable=True):
        delivery = (
            Delivery.objects.select_for_update(of=("self",), skip_locked=True)
            .select_related("webhook__owner", "event__building", "event__actor")
            .filter(next_attempt_at__lte=now(), webhook__disabled_at=None)
            .exclude(webhook__in=failed)
            .order_by("next_attempt_at", "pk")
            .first()
        )
        if delivery is None:
            return None
        reason = find_disable_reason(delivery.webhook)
        if reason is None:
            delivery.attempts += 1
            delivery.last_attempt_at = now()
            delivery.next_attempt_at = now() + CLAIM_DURATION
            delivery.save(
                update_fields=["attempts", "last_attempt_at", "next_attempt_at"]
            )
    return delivery, reason


def send_test_event(*, actor: Person, webhook: Webhook) -> Delivery:
    """Send a test event to a webhook, on or off, and wait for the response."""
    require_webhook_manager(actor, webhook.job)
    delivery = Delivery.objects.create(
        webhook=webhook, attempts=1, last_attempt_at=now()
    )
    reason = find_disable_reason(webhook)
    if reason is None:
        response = _send_delivery(delivery)
    else:
        response = PostResponse(None, disabled_message(webhook, reason))
    _save_response(delivery, response)
    return delivery


def _send_delivery(delivery: Delivery) -> PostResponse:
    webhook = delivery.webhook
    secret = get_webhook_secret(webhook)
    # `find_disable_reason` has checked the key, but it may change between the two.
    if secret is None:
        reason = DisabledReason.KEY_CHANGED
        return PostResponse(None, disabled_message(webhook, reason))
    try:
        # Parsed again: whether http and local addresses are allowed may have changed.
        target = parse_webhook_url(webhook.url, local=settings.WEBHOOKS_LOCAL)
    except WebhookUrlError as error:
        return PostResponse(None, str(error))
    body = json.dumps(build_payload(delivery), separators=(",", ":")).encode()
    headers = build_signed_headers(
        secret=secret,
        keyid=get_key_id(webhook),
        url=target.url,
        body=body,
        content_type=CONTENT_TYPE,
        created=int(time.time()),
    )
    return post_body(target, body, headers, local=settings.WEBHOOKS_LOCAL)


def get_key_id(webhook: Webhook) -> str:
    """Return the `keyid` of a webhook's signatures."""
    return f"webhook-{webhook.pk}"


def build_payload(delivery: Delivery) -> dict[str, Any]:
    """Build the JSON body; of people it holds no more than a user name."""
    event = delivery.event
    if event is None:
        return {
            "format": EVENT_FORMAT,
            "id": str(delivery.uid),
            "type": TEST_EVENT_TYPE,
            "time": delivery.created_at.isoformat(),
            "by": None,
            "detail": {},
            "links": {},
        }
    keys = {
        "job": event.job_id,
        "building": event.building_id,
        event.subject_kind: event.subject_id,
    }
    return {
        "format": EVENT_FORMAT,
        "id": str(event.uid),
        "type": event.kind,
        "time": event.at.isoformat(),
        "by": event.actor.get_username() if event.actor else None,
        "detail": event.detail,
        "links": {
            kind: link for kind, key in keys.items() if (link := _api_url(kind, key))
        },
    }


def _api_url(kind: str, key: int) -> str:
    """Return the API address of an object, empty if the API has none."""
    name = settings.EVENT_LINKS.get(kind)
    try:
        return emails.public_url(reverse(name, args=[key])) if name else ""
    except NoReverseMatch:
        return ""  # a deployment without the API


def record_response(delivery: Delivery, response: PostResponse) -> None:
    """Save the result of an attempt: accepted, to be retried, or given up."""
    with transaction.atomic():
        retry = not response.accepted and delivery.attempts <= len(RETRY_PAUSES)
        if not (response.accepted or retry):
            _disable_and_notify(delivery, DisabledReason.NOT_DELIVERED, response.error)
        _save_response(
            delivery,
            response,
            next_attempt_at=now() + RETRY_PAUSES[delivery.attempts - 1]
            if retry
            else None,
        )


def _save_response(
    delivery: Delivery, response: PostResponse, next_attempt_at: datetime | None = None
) -> None:
    delivery.status = response.status
    delivery.error = response.error[:MAX_DETAIL_LENGTH]
    delivery.accepted_at = now() if response.accepted else None
    delivery.next_attempt_at = next_attempt_at
    # An update, not a save: the webhook and this row may have been deleted meanwhile.
    Delivery.objects.filter(pk=delivery.pk).update(
        status=delivery.status,
        error=delivery.error,
        accepted_at=delivery.accepted_at,
        next_attempt_at=delivery.next_attempt_at,
    )


@transaction.atomic
def _disable_and_notify(
    delivery: Delivery, reason: DisabledReason, detail: str = ""
) -> None:
    """Switch the webhook off and create one e-mail to its owner.

    Locks the webhook before any of its deliveries: the same order everywhere, so no
    deadlock.
    """
    locked = Webhook.objects.select_for_update(of=("self",))
    webhook = locked.filter(pk=delivery.webhook_id, disabled_at=None).first()
    if webhook is None:
        return
    disable_webhook(webhook, reason, detail)
    Email.objects.get_or_create(
        key=f"webhook_disabled:{webhook.pk}:{delivery.uid}:{delivery.attempts}",
        defaults={
            "kind": Email.Kind.WEBHOOK_DISABLED,
            "person": webhook.owner,
            "job": webhook.job,
            "subject_ids": [webhook.pk],
        },
    )


def compose_webhook_disabled(email: Email) -> emails.EmailContent | None:
    """Compose the e-mail to an owner; None where the webhook is on again, or gone."""
    webhook = (
        Webhook.objects.visible_to(email.person)
        .exclude(disabled_at=None)
        .select_related("job", "owner")
        .filter(pk__in=email.subject_ids)
        .first()
    )
    if webhook is None:
        return None
    return emails.EmailContent(
        subject=f"Padstone: a webhook of {webhook.job or 'all jobs'} was switched off",
        template="jobs/emails/webhook_disabled",
        context={"webhook": webhook, "reason": describe_disabled(webhook)},
    )
