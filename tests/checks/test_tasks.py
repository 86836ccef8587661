"""Background work on the record."""

import pytest

from checks import tasks
from checks.models import Evaluation
from core.celery import app
from jobs.evaluation_due import mark_evaluation_due
from jobs.models import Building
from tests.checks.conftest import Measure, entry

pytestmark = pytest.mark.django_db


def test_the_sweep_evaluates_what_is_due_and_nothing_else(building: Building) -> None:
    tasks.evaluate_due_buildings.delay()
    assert not Evaluation.objects.exists()
    mark_evaluation_due(building)
    tasks.evaluate_due_buildings.delay()
    building.refresh_from_db()
    assert building.evaluation_due_since is None
    assert Evaluation.objects.get().building == building


def test_evaluating_twice_is_evaluating_once(
    building: Building, measure: Measure
) -> None:
    measure(entry("wall:A-B", "66'"))
    tasks.evaluate_building.delay(building.pk)
    tasks.evaluate_building.delay(building.pk)
    assert Evaluation.objects.filter(building=building).count() == 1


def test_each_kind_of_work_has_a_queue_of_its_own() -> None:
    queues = app.amqp.queues
    assert set(queues) == {"interactive", "padstone", "bulk"}
    # Two queues with one exchange and key would each get a copy of every message.
    ways = {(queue.exchange.name, queue.routing_key) for queue in queues.values()}
    assert len(ways) == len(queues)
    routes = {
        "checks.tasks.evaluate_building": "interactive",
        "core.tasks.email_password_link": "interactive",
        "checks.tasks.evaluate_due_buildings": "padstone",
        "checks.tasks.reevaluate_buildings": "bulk",
    }
    for task, queue in routes.items():
        route = app.amqp.router.route({}, task)
        assert route.get("queue", queues[queue]).name == queue
