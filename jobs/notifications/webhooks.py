"""Other programs' addresses that are told: kept, tried, switched on and off."""

import base64
import hashlib
import secrets
from collections.abc import Iterable
from hmac import compare_digest

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.crypto import salted_hmac
from django.utils.timezone import now

from core.models import Person, Role
from core.permissions import Action, require
from jobs.models import Job, Membership
from jobs.notifications.models import Announcement, Delivery, Webhook
from jobs.notifications.webhook_urls import WebhookUrlError, parse_webhook_url

MAX_REASON_LENGTH = 300


@transaction.atomic
def register_webhook(
    *, actor: Person, job: Job | None, url: str, events: Iterable[str]
) -> tuple[Webhook, str]:
    """Let an address be told what happens on a job, or (None) on every job.

    Returns
    -------
    tuple : the webhook, and its secret, which is never shown again.

    Raises
    ------
    ValidationError
        If the address cannot be called, or nothing is to be told to it.
    """
    require_webhook_manager(actor, job)
    known = set(Announcement.Kind.values)
    wanted = [kind for kind in Announcement.Kind.values if kind in set(events)]
    if not wanted or not known.issuperset(events):
        msg = "Choose at least one thing that the address is told of."
        raise ValidationError({"events": msg}, code="required")
    try:
        target = parse_webhook_url(url, local=settings.WEBHOOKS_LOCAL)
    except WebhookUrlError as error:
        raise ValidationError({"url": str(error)}, code="address") from None
    webhook = Webhook(job=job, url=target.url, events=wanted, owner=actor)
    secret = _set_new_secret(webhook)
    webhook.save()
    return webhook, secret


@transaction.atomic
def renew_webhook_secret(*, actor: Person, webhook: Webhook) -> str:
    """Give a webhook another secret, at once; the old one holds no more."""
    webhook = _lock_webhook(actor, webhook)
    secret = _set_new_secret(webhook)
    webhook.save(update_fields=["nonce", "secret_digest"])
    return secret


@transaction.atomic
def switch_webhook(*, actor: Person, webhook: Webhook, on: bool) -> None:
    """Switch a webhook on or off; what waited when it went off is not delivered.

    Whoever switches it on answers for it from then on.
    """
    webhook = _lock_webhook(actor, webhook)
    if not on:
        disable_webhook(webhook, f"Switched off by {actor}.")
    elif webhook.off_at is not None:
        webhook.off_at, webhook.off_because = None, ""
        webhook.owner = actor
        webhook.save(update_fields=["off_at", "off_because", "owner"])
        _cancel_pending(webhook)


@transaction.atomic
def remove_webhook(*, actor: Person, webhook: Webhook) -> None:
    """Forget a webhook and its deliveries."""
    _lock_webhook(actor, webhook).delete()


def disable_webhook(webhook: Webhook, reason: str) -> None:
    """Switch a webhook off, in the caller's transaction."""
    if webhook.off_at is not None:
        return
    webhook.off_at, webhook.off_because = now(), reason[:MAX_REASON_LENGTH]
    webhook.save(update_fields=["off_at", "off_because"])
    _cancel_pending(webhook)


def _cancel_pending(webhook: Webhook) -> None:
    Delivery.objects.filter(webhook=webhook).exclude(next_try_at=None).update(
        next_try_at=None
    )


def get_webhook_secret(webhook: Webhook) -> bytes | None:
    """Give a webhook's secret; None where the house's own key was changed since."""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        secret = _derive_secret(key, webhook.nonce)
        if compare_digest(_sha256_hex(secret), webhook.secret_digest):
            return secret
    return None


def find_disable_reason(webhook: Webhook) -> str:
    """Say why nothing may be told to a webhook now; empty where it may.

    Whoever answers for it must still run the job: it is told what they may see.
    """
    owner = webhook.owner
    runs = owner.is_administrator
    if webhook.job_id is not None and not runs:
        parts = Membership.objects.of(owner).filter(job=webhook.job_id)
        runs = parts.filter(role=Role.OPERATIONS).exists()
    if not (runs and owner.is_active):
        return f"{owner}, who answered for it, does not run this any more."
    if get_webhook_secret(webhook) is None:
        return "The server's key was changed: give it a new secret."
    return ""


def require_webhook_manager(actor: Person, job: Job | None) -> None:
    """Refuse whoever may not have programs told of a job; of all, administrators do."""
    roles = job.roles_of(actor) if job else {actor.role} & {Role.ADMINISTRATOR}
    require(actor, Action.MANAGE_WEBHOOKS, roles=roles)


def _lock_webhook(actor: Person, webhook: Webhook) -> Webhook:
    locked = (
        Webhook.objects.select_for_update(of=("self",))
        .select_related("job", "owner")
        .get(pk=webhook.pk)
    )
    require_webhook_manager(actor, locked.job)
    return locked


def _set_new_secret(webhook: Webhook) -> str:
    webhook.nonce = secrets.token_hex(32)
    secret = _derive_secret(settings.SECRET_KEY, webhook.nonce)
    webhook.secret_digest = _sha256_hex(secret)
    return base64.b64encode(secret).decode("ascii")


def _derive_secret(key: str | bytes, nonce: str) -> bytes:
    made = salted_hmac(
        "jobs.notifications.webhooks", nonce, secret=key, algorithm="sha256"
    )
    return bytes(made.digest())


def _sha256_hex(secret: bytes) -> str:
    return hashlib.sha256(secret).hexdigest()
