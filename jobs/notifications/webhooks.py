"""Webhooks: registration, secrets, switching on and off."""

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
from jobs.notifications.models import Delivery, Event, Webhook
from jobs.notifications.webhook_urls import WebhookUrlError, parse_webhook_url

MAX_DETAIL_LENGTH = 300
DisabledReason = Webhook.DisabledReason


@transaction.atomic
def register_webhook(
    *, actor: Person, job: Job | None, url: str, events: Iterable[str]
) -> tuple[Webhook, str]:
    """Register an address for the events of a job, or (None) of every job.

    Returns
    -------
    tuple : the webhook, and its secret, which is never shown again.

    Raises
    ------
    ValidationError
        If the address cannot be called, or no known event is chosen.
    """
    require_webhook_manager(actor, job)
    known = set(Event.Kind.values)
    wanted = [kind for kind in Event.Kind.values if kind in set(events)]
    if not wanted or not known.issuperset(events):
        msg = "Choose at least one event."
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
    """Replace a webhook's secret; the old one is invalid at once."""
    webhook = _lock_webhook(actor, webhook)
    secret = _set_new_secret(webhook)
    webhook.save(update_fields=["nonce", "secret_hash"])
    return secret


@transaction.atomic
def switch_webhook(*, actor: Person, webhook: Webhook, on: bool) -> None:
    """Switch a webhook on or off; events that were waiting are not delivered.

    The person who switches it on becomes its owner.
    """
    webhook = _lock_webhook(actor, webhook)
    if not on:
        disable_webhook(webhook, DisabledReason.BY_PERSON, str(actor))
    elif webhook.disabled_at is not None:
        webhook.disabled_at = None
        webhook.disabled_reason = webhook.disabled_detail = ""
        webhook.owner = actor
        webhook.save(
            update_fields=["disabled_at", "disabled_reason", "disabled_detail", "owner"]
        )
        _cancel_pending(webhook)


@transaction.atomic
def remove_webhook(*, actor: Person, webhook: Webhook) -> None:
    """Delete a webhook and its deliveries."""
    _lock_webhook(actor, webhook).delete()


def disable_webhook(webhook: Webhook, reason: DisabledReason, detail: str = "") -> None:
    """Switch a webhook off. The caller holds the transaction."""
    if webhook.disabled_at is not None:
        return
    webhook.disabled_at = now()
    webhook.disabled_reason = reason
    webhook.disabled_detail = detail[:MAX_DETAIL_LENGTH]
    webhook.save(update_fields=["disabled_at", "disabled_reason", "disabled_detail"])
    _cancel_pending(webhook)


def _cancel_pending(webhook: Webhook) -> None:
    pending = Delivery.objects.filter(webhook=webhook).exclude(next_attempt_at=None)
    pending.update(next_attempt_at=None)


def get_webhook_secret(webhook: Webhook) -> bytes | None:
    """Return a webhook's secret; None if `SECRET_KEY` was changed since."""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        secret = _derive_secret(key, webhook.nonce)
        # Constant time: the comparison must not reveal how much of a hash matched.
        if compare_digest(_sha256_hex(secret), webhook.secret_hash):
            return secret
    return None


def find_disable_reason(webhook: Webhook) -> DisabledReason | None:
    """Return why nothing may be sent to a webhook now; None if it may.

    Its owner must still manage the job: the webhook receives what they may see.
    """
    owner = webhook.owner
    manages = owner.is_administrator
    if webhook.job_id is not None and not manages:
        memberships = Membership.objects.of(owner).filter(job=webhook.job_id)
        manages = memberships.filter(role=Role.OPERATIONS).exists()
    if not (manages and owner.is_active):
        return DisabledReason.NO_MANAGER
    if get_webhook_secret(webhook) is None:
        return DisabledReason.KEY_CHANGED
    return None


def require_webhook_manager(actor: Person, job: Job | None) -> None:
    """Require permission to manage webhooks of a job; of all jobs, an administrator."""
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
    webhook.secret_hash = _sha256_hex(secret)
    # Returned once, to be shown; it cannot be read from the row.
    return base64.b64encode(secret).decode("ascii")


def _derive_secret(key: str | bytes, nonce: str) -> bytes:
    salt = "jobs.notifications.webhooks"
    return bytes(salted_hmac(salt, nonce, secret=key, algorithm="sha256").digest())


def _sha256_hex(secret: bytes) -> str:
    return hashlib.sha256(secret).hexdigest()
