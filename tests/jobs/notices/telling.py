"""Something happens, and another program is told."""

import json

from core.models import Person
from jobs import tasks
from jobs.models import Building
from jobs.notices.announcing import About, announce
from jobs.notices.models import Announcement
from tests.jobs.notices.receiver import Receiver

Kind = Announcement.Kind


def happen(building: Building, actor: Person | None = None, pk: int = 7) -> None:
    about = About(what="finding", pk=pk, words="Pad S2", detail={"finding": "level:S2"})
    announce(Kind.FINDING_OPENED, building=building, actor=actor, about=[about])


def told(receiver: Receiver) -> list[dict[str, object]]:
    """Run the task, and give what the other program has got so far."""
    tasks.tell_programs.delay()
    return [json.loads(got.body) for got in receiver.got]
