"""Background work on the record."""

import pytest

from checks import tasks
from checks.models import Evaluation
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
