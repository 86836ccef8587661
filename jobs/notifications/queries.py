"""What the pages of the notices read, in a constant number of queries."""

from dataclasses import dataclass

from django.db.models import F, QuerySet

from core.models import Person, Role
from core.permissions import Action, may
from jobs.models import Membership
from jobs.notifications.models import Announcement, Delivery, Webhook

MAX_LISTED_DELIVERIES = 50  # deliveries of a webhook, the last ones


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """One delivery as the page shows it: what it tells of, and what came of it."""

    delivery: Delivery
    event_label: str
    subject: str
    outcome: str


def list_all_roles(person: Person) -> set[str]:
    """Give a person's roles: the account's, and those of every job."""
    held = Membership.objects.of(person).order_by().values_list("role", flat=True)
    return {person.role, *held.distinct()}


def may_manage_webhooks(person: Person) -> bool:
    """Whether there is anything whose webhooks this person may look after."""
    return may(Action.MANAGE_WEBHOOKS, list_all_roles(person))


def list_managed_webhooks(person: Person) -> QuerySet[Webhook]:
    """Webhooks that this person may look after, job by job."""
    webhooks = Webhook.objects.visible_to(person)
    if not person.is_administrator:
        run = Membership.objects.of(person).filter(role=Role.OPERATIONS)
        webhooks = webhooks.filter(job__in=run.values("job"))
    return webhooks.select_related("job", "owner").order_by(
        F("job__number").asc(nulls_first=True), "pk"
    )


def list_event_labels(webhook: Webhook) -> list[str]:
    """Name what a webhook is told of."""
    return [str(Announcement.Kind(kind).label) for kind in webhook.events]


def list_recent_deliveries(webhook: Webhook) -> list[DeliveryRow]:
    """Give a webhook's last deliveries, the latest first; one query."""
    rows = webhook.deliveries.select_related("announcement__building__job")
    return [
        DeliveryRow(row, *_describe_event(row), _outcome_label(row))
        for row in rows.order_by("-pk")[:MAX_LISTED_DELIVERIES]
    ]


def _describe_event(delivery: Delivery) -> tuple[str, str]:
    row = delivery.announcement
    if row is None:
        return "trial", "nothing"
    place = f"{row.building.job.number} {row.building}"
    return row.get_kind_display(), f"{row.words}, {place}"


def _outcome_label(delivery: Delivery) -> str:
    if delivery.taken_at is not None:
        return "taken"
    return "waits" if delivery.next_try_at else "not taken"
