"""Queries for the notification pages, each a constant number."""

from dataclasses import dataclass

from django.db.models import F, QuerySet

from core.models import Person, Role
from core.permissions import Action, may
from jobs.models import Membership
from jobs.notifications.event_text import describe_event
from jobs.notifications.models import Delivery, Event, Webhook

MAX_LISTED_DELIVERIES = 50
DisabledReason = Webhook.DisabledReason


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """One delivery for the page: event, subject and result."""

    delivery: Delivery
    event_label: str
    subject: str
    outcome: str


def list_all_roles(person: Person) -> set[str]:
    """Return the role of a person's account and those on every job."""
    roles = Membership.objects.of(person).order_by().values_list("role", flat=True)
    return {person.role, *roles.distinct()}


def may_manage_webhooks(person: Person) -> bool:
    """Return True for operations managers of any job, and administrators."""
    return may(Action.MANAGE_WEBHOOKS, list_all_roles(person))


def list_managed_webhooks(person: Person) -> QuerySet[Webhook]:
    """List the webhooks a person may manage, job by job."""
    webhooks = Webhook.objects.visible_to(person)
    if not person.is_administrator:
        managed = Membership.objects.of(person).filter(role=Role.OPERATIONS)
        webhooks = webhooks.filter(job__in=managed.values("job"))
    return webhooks.select_related("job", "owner").order_by(
        F("job__number").asc(nulls_first=True), "pk"
    )


def list_event_labels(webhook: Webhook) -> list[str]:
    """List the labels of the events a webhook receives."""
    return [str(Event.Kind(kind).label) for kind in webhook.events]


def describe_disabled(webhook: Webhook) -> str:
    """Describe why a webhook is off, or would be switched off; empty if neither."""
    if not webhook.disabled_reason:
        return ""
    reason = DisabledReason(webhook.disabled_reason)
    return disabled_message(webhook, reason, webhook.disabled_detail)


def disabled_message(webhook: Webhook, reason: DisabledReason, detail: str = "") -> str:
    """Write the sentence for a reason to switch a webhook off."""
    if reason is DisabledReason.BY_PERSON:
        return f"Switched off by {detail}."
    if reason is DisabledReason.NO_MANAGER:
        return f"{webhook.owner}, its owner, no longer manages this job."
    if reason is DisabledReason.KEY_CHANGED:
        return "The secret key of the server was changed: create a new secret."
    return f"No delivery was accepted for a day. {detail}".strip()


def list_recent_deliveries(webhook: Webhook) -> list[DeliveryRow]:
    """List a webhook's last deliveries, newest first; one query."""
    rows = webhook.deliveries.select_related("event__building__job")
    return [
        DeliveryRow(row, *_describe_subject(row), _outcome_label(row))
        for row in rows.order_by("-pk")[:MAX_LISTED_DELIVERIES]
    ]


def _describe_subject(delivery: Delivery) -> tuple[str, str]:
    event = delivery.event
    if event is None:
        return "test event", ""
    building = f"{event.building.job.number} {event.building}"
    return event.get_kind_display(), f"{describe_event(event).description}, {building}"


def _outcome_label(delivery: Delivery) -> str:
    if delivery.accepted_at is not None:
        return "accepted"
    return "waiting" if delivery.next_attempt_at else "not accepted"
