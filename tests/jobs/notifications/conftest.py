"""A building something happens on, and a program on this machine that is told."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from django.utils import timezone
from django.utils.timezone import now

from core.models import Person
from jobs.models import Building, Job
from jobs.notifications import emails, webhook_delivery, webhooks
from jobs.notifications.models import Webhook
from tests import example_buildings, factories
from tests.jobs.notifications.samples import EVERYTHING
from tests.jobs.notifications.webhook_receiver import Receiver, receiving


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return the job's building, with nothing measured."""
    return factories.building(job, operations, example_buildings.shed())


@pytest.fixture
def receiver(settings) -> Iterator[Receiver]:
    """Run another program on this machine, which a demo may call."""
    settings.WEBHOOKS_LOCAL = True
    settings.PUBLIC_URL = "https://padstone.example"
    with receiving() as running:
        yield running


@pytest.fixture
def hooked(receiver: Receiver, job: Job, operations: Person) -> tuple[Webhook, str]:
    """Return a webhook of the job that is told everything, and its secret."""
    return webhooks.register_webhook(
        actor=operations, job=job, url=receiver.url, events=EVERYTHING
    )


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Callable[[timedelta], None]:
    """Let it be later for everybody who asks Django."""
    began = now()

    def tell(later: timedelta) -> None:
        for module in (timezone, webhook_delivery, webhooks, emails):
            monkeypatch.setattr(module, "now", lambda: began + later)

    return tell
