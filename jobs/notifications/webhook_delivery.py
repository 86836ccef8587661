"""Announcements on their way to webhooks: handed out, sent, sent again, given up.

Each is sent *at least once*: a worker that dies after it was sent and before that was
noted sends it again, as does one whose answer was lost. The event's id stays the
same, so that the other program can tell; its signature is new each time.
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
from jobs.notifications.models import Announcement, Delivery, Letter, Webhook
from jobs.notifications.webhook_urls import WebhookUrlError, parse_webhook_url
from jobs.notifications.webhooks import (
    MAX_REASON_LENGTH,
    disable_webhook,
    get_webhook_secret,
    require_webhook_manager,
)
from jobs.notifications.webhooks import find_disable_reason as why_webhook_not

logger = logging.getLogger(__name__)

EVENT_FORMAT = "padstone.event/1"
CONTENT_TYPE = "application/json"
TEST_EVENT_TYPE = "trial"  # the type of a delivery that is about nothing
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
RETRY_PAUSES = (
    MINUTE, 5 * MINUTE, 15 * MINUTE, HOUR, 3 * HOUR, 6 * HOUR, 6 * HOUR,
    7 * HOUR + 39 * MINUTE,
)  # fmt: skip
"""Between one try and the next; a day altogether, then it is given up."""
CLAIM_DURATION = (
    2 * MINUTE
)  # longer than a try can take; then another worker may have it
MAX_EVENTS_PER_BATCH = 500  # announcements handed out in one transaction
MAX_RUN_S = 100  # how long one run goes on; below the limit on a task


def create_deliveries() -> int:
    """Hand announcements out to the webhooks that want them, each once.

    Returns
    -------
    int : how many deliveries came of it.
    """
    made = 0
    while True:
        rows, deliveries = _create_delivery_batch()
        made += deliveries
        if rows < MAX_EVENTS_PER_BATCH:
            return made


@transaction.atomic
def _create_delivery_batch() -> tuple[int, int]:
    waiting = Announcement.objects.filter(dispatched_at=None).order_by("pk")
    rows = list(waiting.select_for_update(skip_locked=True)[:MAX_EVENTS_PER_BATCH])
    if not rows:
        return 0, 0
    at = now()
    webhooks = list(Webhook.objects.filter(off_at=None))
    made = Delivery.objects.bulk_create(
        Delivery(webhook=webhook, announcement=row, next_try_at=at)
        for row in rows
        for webhook in webhooks
        if _subscribes_to(webhook, row)
    )
    Announcement.objects.filter(pk__in=[row.pk for row in rows]).update(
        dispatched_at=at
    )
    return len(rows), len(made)


def _subscribes_to(webhook: Webhook, row: Announcement) -> bool:
    return (
        webhook.job_id in (None, row.job_id)
        and row.kind in webhook.events
        and row.at >= webhook.made_at
    )


def send_due_deliveries() -> int:
    """Send what is due, the longest due first.

    A webhook that fails is left for this run, so that it holds up no other.

    Returns
    -------
    int : how many were taken.
    """
    taken = 0
    failed: set[int] = set()
    began = time.monotonic()
    while time.monotonic() - began < MAX_RUN_S:
        claimed = _claim_delivery(failed)
        if claimed is None:
            break
        delivery, why_not = claimed
        if why_not:
            _disable_and_notify(delivery, why_not)
            failed.add(delivery.webhook_id)
            continue
        answer = _send_delivery(delivery)
        record_response(delivery, answer)
        if answer.accepted:
            taken += 1
        else:
            failed.add(delivery.webhook_id)
    return taken


def _claim_delivery(failed: Collection[int]) -> tuple[Delivery, str] | None:
    """Take the next delivery for a while; say so where its webhook is void."""
    with transaction.atomic(durable=True):
        delivery = (
            Delivery.objects.select_for_update(of=("self",), skip_locked=True)
            .select_related(
                "webhook__owner", "announcement__building", "announcement__person"
            )
            .filter(next_try_at__lte=now(), webhook__off_at=None)
            .exclude(webhook__in=failed)
            .order_by("next_try_at", "pk")
            .first()
        )
        if delivery is None:
            return None
        why_not = why_webhook_not(delivery.webhook)
        if why_not:
            return delivery, why_not
        delivery.tries += 1
        delivery.last_try_at = now()
        delivery.next_try_at = now() + CLAIM_DURATION
        delivery.save(update_fields=["tries", "last_try_at", "next_try_at"])
    return delivery, ""


def send_test_event(*, actor: Person, webhook: Webhook) -> Delivery:
    """Send a trial to a webhook, on or off, and wait for the answer."""
    require_webhook_manager(actor, webhook.job)
    delivery = Delivery.objects.create(webhook=webhook, tries=1, last_try_at=now())
    why_not = why_webhook_not(webhook)
    answer = PostResponse(None, why_not) if why_not else _send_delivery(delivery)
    _save_response(delivery, answer)
    return delivery


def _send_delivery(delivery: Delivery) -> PostResponse:
    webhook = delivery.webhook
    secret = get_webhook_secret(webhook)
    assert secret is not None  # noqa: S101  # or `why_not` had said so
    try:
        # Kept in one form; whether http and this network are allowed may change.
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
    """Name a webhook's secret in its signatures."""
    return f"webhook-{webhook.pk}"


def build_payload(delivery: Delivery) -> dict[str, Any]:
    """Give what another program is told; of people no more than the user name."""
    row = delivery.announcement
    if row is None:
        return {
            "format": EVENT_FORMAT,
            "id": str(delivery.uid),
            "type": TEST_EVENT_TYPE,
            "time": delivery.made_at.isoformat(),
            "by": None,
            "detail": {},
            "links": {},
        }
    keys = {"job": row.job_id, "building": row.building_id, row.about: row.about_id}
    return {
        "format": EVENT_FORMAT,
        "id": str(row.uid),
        "type": row.kind,
        "time": row.at.isoformat(),
        "by": row.person.get_username() if row.person else None,
        "detail": row.detail,
        "links": {
            what: link for what, key in keys.items() if (link := _api_url(what, key))
        },
    }


def _api_url(what: str, key: int) -> str:
    """Give the address of a thing in the interface for programs, if it has one."""
    name = settings.NOTICE_LINKS.get(what)
    try:
        return emails.public_url(reverse(name, args=[key])) if name else ""
    except NoReverseMatch:
        return ""  # a deployment without that interface


def record_response(delivery: Delivery, response: PostResponse) -> None:
    """Write down what came of a try: done, to be tried again, or given up."""
    with transaction.atomic():
        again = not response.accepted and delivery.tries <= len(RETRY_PAUSES)
        if not (response.accepted or again):
            _disable_and_notify(
                delivery, f"Nothing was taken for a day. {response.error}"
            )
        _save_response(
            delivery,
            response,
            next_try_at=now() + RETRY_PAUSES[delivery.tries - 1] if again else None,
        )


def _save_response(
    delivery: Delivery, response: PostResponse, next_try_at: datetime | None = None
) -> None:
    delivery.status = response.status
    delivery.fault = response.error[:MAX_REASON_LENGTH]
    delivery.taken_at = now() if response.accepted else None
    delivery.next_try_at = next_try_at
    # The webhook may have been removed meanwhile, and this with it.
    Delivery.objects.filter(pk=delivery.pk).update(
        status=delivery.status,
        fault=delivery.fault,
        taken_at=delivery.taken_at,
        next_try_at=delivery.next_try_at,
    )


@transaction.atomic
def _disable_and_notify(delivery: Delivery, reason: str) -> None:
    """Switch the webhook off and let its owner be told, once.

    The webhook is locked before any of its deliveries, as everywhere, so that nobody
    waits crosswise.
    """
    held = Webhook.objects.select_for_update(of=("self",))
    webhook = held.filter(pk=delivery.webhook_id, off_at=None).first()
    if webhook is None:
        return
    disable_webhook(webhook, reason)
    Letter.objects.get_or_create(
        key=f"off:{webhook.pk}:{delivery.uid}:{delivery.tries}",
        defaults={
            "kind": Letter.Kind.SWITCHED_OFF,
            "person": webhook.owner,
            "job": webhook.job,
            "about": [webhook.pk],
        },
    )


def compose_webhook_disabled(letter: Letter) -> emails.EmailContent | None:
    """Tell a webhook's owner that it is off; None where it is on again, or gone."""
    webhook = (
        Webhook.objects.visible_to(letter.person)
        .exclude(off_at=None)
        .select_related("job")
        .filter(pk__in=letter.about)
        .first()
    )
    if webhook is None:
        return None
    return emails.EmailContent(
        subject=f"Padstone: a webhook of {webhook.job or 'all jobs'} was switched off",
        template="jobs/emails/webhook_disabled",
        context={"webhook": webhook},
    )
