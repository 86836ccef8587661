"""What the pages of the notices read, in a constant number of queries."""

from dataclasses import dataclass

from django.db.models import F, QuerySet

from core.models import Person, Role
from core.permissions import Action, may
from jobs.models import Membership
from jobs.notices.models import Announcement, Delivery, Webhook

SHOWN = 50  # deliveries of a webhook, the last ones


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """One delivery as the page shows it: what it tells of, and what came of it."""

    delivery: Delivery
    what: str
    about: str
    outcome: str


def roles_anywhere(person: Person) -> set[str]:
    """Give a person's roles: the account's, and those of every job."""
    held = Membership.objects.of(person).order_by().values_list("role", flat=True)
    return {person.role, *held.distinct()}


def may_tell_programs(person: Person) -> bool:
    """Whether there is anything whose webhooks this person may look after."""
    return may(Action.TELL_PROGRAMS, roles_anywhere(person))


def webhooks_of(person: Person) -> QuerySet[Webhook]:
    """Webhooks that this person may look after, job by job."""
    webhooks = Webhook.objects.visible_to(person)
    if not person.is_administrator:
        run = Membership.objects.of(person).filter(role=Role.OPERATIONS)
        webhooks = webhooks.filter(job__in=run.values("job"))
    return webhooks.select_related("job", "owner").order_by(
        F("job__number").asc(nulls_first=True), "pk"
    )


def kinds_of(webhook: Webhook) -> list[str]:
    """Name what a webhook is told of."""
    return [str(Announcement.Kind(kind).label) for kind in webhook.events]


def last_deliveries(webhook: Webhook) -> list[DeliveryRow]:
    """Give a webhook's last deliveries, the latest first; one query."""
    rows = webhook.deliveries.select_related("announcement__building__job")
    return [
        DeliveryRow(row, *_told(row), _outcome(row))
        for row in rows.order_by("-pk")[:SHOWN]
    ]


def _told(delivery: Delivery) -> tuple[str, str]:
    row = delivery.announcement
    if row is None:
        return "trial", "nothing"
    place = f"{row.building.job.number} {row.building}"
    return row.get_kind_display(), f"{row.words}, {place}"


def _outcome(delivery: Delivery) -> str:
    if delivery.taken_at is not None:
        return "taken"
    return "waits" if delivery.next_try_at else "not taken"
