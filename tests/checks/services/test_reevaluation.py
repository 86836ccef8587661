"""Re-evaluation of many buildings: once each, by several workers, whatever ends one."""

import threading
import time
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import OperationalError, connection, transaction
from django.utils.timezone import now, timedelta

from checks import tasks
from checks.models import Evaluation, Reevaluation
from checks.queries.reevaluation_progress import load_progress
from checks.services import reevaluation
from checks.services.evaluation import evaluate_building
from checks.services.reevaluation import (
    MAX_ATTEMPTS,
    STALL_S,
    list_stalled_reevaluations,
    prepare_batches,
    reevaluate_buildings,
    resume_reevaluation,
    start_reevaluation,
)
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


@pytest.fixture
def buildings(job: Job, operations: Person) -> list[Building]:
    """Return twelve sheds, one batch and a bit, each evaluated."""
    made = [
        factories.building(job, operations, shed(name=f"Shed {number}"))
        for number in range(12)
    ]
    for each in made:
        evaluate_building(each.pk)
    return made


def outcomes(run: Reevaluation) -> list[str]:
    return list(run.tasks.order_by("building_id").values_list("outcome", flat=True))


def test_a_run_evaluates_every_building_once_and_ends(
    buildings: list[Building], operations: Person
) -> None:
    run = start_reevaluation(actor=operations, reason="basis", note=" New  limits ")
    assert run.note == "New limits"
    tasks.queue_reevaluation.delay(run.pk)
    tasks.queue_reevaluation.delay(run.pk)  # delivered twice
    run.refresh_from_db()
    assert run.finished_at is not None
    assert outcomes(run) == ["unchanged"] * 12
    assert Evaluation.objects.count() == 12
    assert set(run.tasks.values_list("attempts", flat=True)) == {1}


def test_a_run_stores_what_differs_from_the_result_before(
    buildings: list[Building], operations: Person
) -> None:
    stale = Evaluation.objects.filter(building=buildings[4]).get()
    # The result of a program whose basis had another limit.
    Evaluation.objects.create(
        building=stale.building,
        revision=stale.revision,
        made_with=stale.made_with,
        input_digest=stale.input_digest,
        result={**stale.result, "warnings": ["from another limit"]},
    )
    run = start_reevaluation(actor=operations, reason="basis")
    tasks.queue_reevaluation.delay(run.pk)
    assert [i for i, each in enumerate(outcomes(run)) if each == "changed"] == [4]
    latest = Evaluation.objects.filter(building=buildings[4]).order_by("-pk")[0]
    assert latest.result == stale.result


def test_a_new_program_concerns_the_buildings_it_has_not_evaluated(
    buildings: list[Building],
    operations: Person,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with pytest.raises(ValidationError, match="No building is concerned"):
        start_reevaluation(actor=operations, reason="program")
    for module in ("reevaluation", "evaluation", "evaluation_storage"):
        monkeypatch.setattr(f"checks.services.{module}.MADE_WITH", "padstone 99")
    evaluate_building(buildings[0].pk)
    run = start_reevaluation(actor=operations, reason="program")
    assert run.made_with == "padstone 99"
    assert run.tasks.count() == 11
    tasks.queue_reevaluation.delay(run.pk)
    assert outcomes(run) == ["changed"] * 11


def test_only_operations_managers_and_administrators_start_one(
    buildings: list[Building],
    engineer: Person,
    field_lead: Person,
    stranger: Person,
    administrator: Person,
) -> None:
    for person in (engineer, field_lead):
        with pytest.raises(PermissionDenied, match="operations manager may"):
            start_reevaluation(actor=person, reason="basis")
    # A manager's run covers the buildings of the manager's own jobs.
    with pytest.raises(ValidationError):
        start_reevaluation(actor=stranger, reason="basis")
    run = start_reevaluation(actor=administrator, reason="basis")
    assert run.tasks.count() == 12
    assert not Reevaluation.objects.visible_to(stranger).exists()


def test_a_building_that_fails_is_named_and_the_others_go_on(
    buildings: list[Building], operations: Person
) -> None:
    run = start_reevaluation(actor=operations, reason="basis")
    broken = buildings[3]
    drawn = broken.current_revision()
    revision = broken.revisions.model(
        building=broken,
        number=2,
        document={**drawn.document, "positions": "none"},
        digest="0" * 64,
        drawn_by=operations,
    )
    revision.save()
    tasks.queue_reevaluation.delay(run.pk)
    failed = run.tasks.get(outcome="failed")
    assert failed.building == broken
    assert failed.failure
    (progress,) = load_progress(Reevaluation.objects.filter(pk=run.pk))
    assert (progress.failed, progress.unchanged, progress.remaining) == (1, 11, 0)
    assert progress.percent == 100

    revision = broken.revisions.model(
        building=broken,
        number=3,
        document=drawn.document,
        digest=drawn.digest,
        drawn_by=operations,
    )
    revision.save()
    resume_reevaluation(actor=operations, run=run)
    tasks.queue_reevaluation.delay(run.pk)
    run.refresh_from_db()
    assert outcomes(run).count("changed") == 1
    assert run.finished_at is not None


def test_a_lost_connection_leaves_the_building_waiting(
    buildings: list[Building], operations: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = start_reevaluation(actor=operations, reason="basis")

    def lose(building_id: int, **options: Any) -> Evaluation:
        raise OperationalError("the server closed the connection")

    with monkeypatch.context() as patch:
        patch.setattr(reevaluation, "evaluate_building", lose)
        for _ in range(MAX_ATTEMPTS):
            assert reevaluate_buildings(run.pk, [buildings[0].pk]) == 0
    waiting = run.tasks.get(building=buildings[0])
    assert (waiting.outcome, waiting.attempts) == ("", MAX_ATTEMPTS)
    # A building that ends its worker each time is given up.
    assert reevaluate_buildings(run.pk, [buildings[0].pk]) == 1
    assert run.tasks.get(building=buildings[0]).outcome == "failed"


def test_a_stalled_run_is_queued_again(
    buildings: list[Building], operations: Person
) -> None:
    run = start_reevaluation(actor=operations, reason="basis")
    first, second = prepare_batches(run.pk)
    assert (len(first), len(second)) == (10, 2)
    reevaluate_buildings(run.pk, first)  # the message of the second is lost
    assert list_stalled_reevaluations() == []
    long_ago = now() - timedelta(seconds=STALL_S + 1)
    Reevaluation.objects.update(queued_at=long_ago)
    assert list_stalled_reevaluations() == []  # it made progress since
    run.tasks.exclude(finished_at=None).update(finished_at=long_ago)
    tasks.resume_stalled_reevaluations.delay()
    run.refresh_from_db()
    assert run.finished_at is not None
    assert outcomes(run) == ["unchanged"] * 12


@pytest.mark.django_db(transaction=True)
def test_workers_evaluate_different_buildings_at_once(
    building: Building, job: Job, operations: Person
) -> None:
    other = factories.building(job, operations, shed(name="Another shed"))
    run = start_reevaluation(actor=operations, reason="basis")
    finished: list[int] = []

    def evaluate_first() -> None:
        finished.append(reevaluate_buildings(run.pk, [building.pk]))
        connection.close()

    worker = threading.Thread(target=evaluate_first)
    with transaction.atomic():
        # Its worker has to wait for the building, with the row of the run locked.
        Building.objects.select_for_update().get(pk=building.pk)
        worker.start()
        _wait_until_a_lock_is_awaited()
        assert reevaluate_buildings(run.pk, [building.pk, other.pk]) == 1
        assert run.tasks.get(building=other).outcome == "changed"
        assert run.tasks.get(building=building).outcome == ""
    worker.join(20)
    assert finished == [1]
    run.refresh_from_db()
    assert run.finished_at is not None
    assert set(run.tasks.values_list("attempts", flat=True)) == {1}


def _wait_until_a_lock_is_awaited() -> None:
    until = time.monotonic() + 20
    while time.monotonic() < until:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_locks AS awaited JOIN pg_locks AS held"
                " USING (pid) JOIN pg_database ON held.database = pg_database.oid"
                " WHERE NOT awaited.granted AND datname = current_database()"
            )
            if cursor.fetchone()[0]:
                return
        time.sleep(0.05)
    pytest.fail("Nobody waits for a lock.")
