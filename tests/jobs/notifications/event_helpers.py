"""Something happens, and another program is told."""

import json

from core.models import Person
from jobs.models import Building
from jobs.notifications import tasks
from jobs.notifications.models import Event
from jobs.notifications.outbox import EventSubject, record_events
from tests.jobs.notifications.webhook_receiver import Receiver

Kind = Event.Kind


def happen(building: Building, actor: Person | None = None, pk: int = 7) -> None:
    about = EventSubject(kind="finding", pk=pk, detail={"finding": "level:S2"})
    record_events(Kind.FINDING_OPENED, building=building, actor=actor, subjects=[about])


def deliver_and_list(receiver: Receiver) -> list[dict[str, object]]:
    """Deliver what is due, and return the bodies the receiver has so far."""
    tasks.deliver_webhooks.delay()
    return [json.loads(got.body) for got in receiver.got]
