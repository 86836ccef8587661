"""Readings that come while a building is being evaluated share the next evaluation."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from checks.evaluation.evaluate import evaluate
from checks.models import Evaluation, Reading
from checks.services import evaluation as evaluation_service
from checks.services.evaluation import (
    EVALUATION_LOCKS,
    evaluate_changes,
    evaluate_due_buildings,
)
from checks.services.readings import RecordedReadings, record_readings
from core.models import Person
from jobs.models import Building
from jobs.services import revise_plan
from tests.checks.conftest import as_planned, entry
from tests.core.servers import database_url
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db(transaction=True)
PATIENCE_S = 30


@contextmanager
def evaluation_under_way(building: Building) -> Iterator[None]:
    """Hold the lock of a building's evaluation from another connection."""
    holds, release = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            keys = [EVALUATION_LOCKS, building.pk]
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", keys)
            holds.set()
            release.wait(PATIENCE_S)
        connection.close()

    thread = threading.Thread(target=hold)
    thread.start()
    assert holds.wait(PATIENCE_S)
    try:
        yield
    finally:
        release.set()
        thread.join()


def run_together(*jobs: Callable[[], Any]) -> list[Any]:
    """Run each in a thread with a connection of its own; return what they return."""
    results: list[Any] = [None] * len(jobs)

    def run(number: int) -> None:
        try:
            results[number] = jobs[number]()
        except Exception as error:  # noqa: BLE001 - the assertions show it
            results[number] = error
        finally:
            connection.close()

    threads = [
        threading.Thread(target=run, args=[number]) for number in range(len(jobs))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)
    return results


def count_waiting(building: Building) -> int:
    """Count the connections that wait for a building's evaluation."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory'"
            " AND classid = %s AND objid = %s AND NOT granted",
            [EVALUATION_LOCKS, building.pk],
        )
        return int(cursor.fetchone()[0])


def wait_for(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def post(person: Person, building: Building, sent: dict[str, Any]) -> RecordedReadings:
    return record_readings(
        actor=person, building=Building.objects.get(pk=building.pk), entries=[sent]
    )


def test_readings_that_come_during_an_evaluation_share_the_next_one(
    building: Building, field_lead: Person, settings: Any
) -> None:
    settings.VERDICT_WAIT_S = PATIENCE_S
    entries = as_planned(building, "foundation")[:6]
    before = Evaluation.objects.count()

    def release_when_all_wait() -> None:
        with evaluation_under_way(building):
            started.set()
            wait_for(lambda: count_waiting(building) == len(entries))

    started = threading.Event()

    def send(sent: dict[str, Any]) -> RecordedReadings:
        started.wait(PATIENCE_S)
        return post(field_lead, building, sent)

    _, *recorded = run_together(
        release_when_all_wait, *[lambda sent=sent: send(sent) for sent in entries]
    )
    assert Reading.objects.count() == len(entries)
    (shared,) = {each.evaluation.pk for each in recorded}
    assert Evaluation.objects.count() == before + 1
    assert Evaluation.objects.get(pk=shared).last_reading == Reading.objects.latest(
        "pk"
    )
    building.refresh_from_db()
    assert building.evaluation_due_since is None


def test_who_waits_too_long_learns_that_the_verdict_follows(
    building: Building, field_lead: Person, settings: Any
) -> None:
    settings.VERDICT_WAIT_S = 0.05
    with evaluation_under_way(building):
        recorded = post(field_lead, building, entry("wall:A-B", "66'"))
        assert (len(recorded.stored), recorded.evaluation) == (1, None)
        assert evaluate_due_buildings() == 0  # it is being evaluated
    building.refresh_from_db()
    assert building.evaluation_due_since is not None
    assert building.evaluated_change < recorded.change
    assert evaluate_due_buildings() == 1
    building.refresh_from_db()
    assert building.evaluated_change == recorded.change
    assert building.evaluation_due_since is None


def test_a_phone_and_a_page_are_told_where_the_verdict_follows(
    building: Building, field_lead: Person, settings: Any, client: Client
) -> None:
    settings.VERDICT_WAIT_S = 0.05
    client.force_login(field_lead)
    sent = {"person": field_lead.pk, "readings": [entry("wall:A-B", "66'", id="w1")]}
    address = reverse("checks:sync_readings", args=[building.pk])
    with evaluation_under_way(building):
        answer = client.post(address, sent, content_type="application/json").json()
        assert answer["known"] == ["w1"]
        assert client.get(answer["follow_up"]).json() == {"evaluated": False}
    evaluate_due_buildings()
    assert client.get(answer["follow_up"]).json() == {"evaluated": True}
    again = client.post(address, sent, content_type="application/json").json()
    assert again == {"known": ["w1"], "refused": {}}


def test_a_reading_that_comes_during_the_arithmetic_leaves_the_building_due(
    building: Building, field_lead: Person, settings: Any, monkeypatch: Any
) -> None:
    settings.VERDICT_WAIT_S = 0.05
    late: list[RecordedReadings] = []

    def evaluate_slowly(value: Any) -> Any:
        if not late:
            late.append(None)  # type: ignore[arg-type]
            sent = entry("wall:B-C", "38'")
            late[:] = run_together(lambda: post(field_lead, building, sent))
        return evaluate(value)

    monkeypatch.setattr(evaluation_service, "evaluate", evaluate_slowly)
    first = post(field_lead, building, entry("wall:A-B", "66'"))
    assert first.evaluation is not None
    assert first.evaluation.last_reading == first.stored[0]
    assert late[0].evaluation is None
    building.refresh_from_db()
    assert building.evaluation_due_since is not None
    covering = evaluate_changes(building.pk, late[0].change)
    assert covering is not None
    assert covering.last_reading == late[0].stored[0]


def test_an_evaluation_of_an_earlier_plan_is_not_stored_after_a_revision(
    building: Building, field_lead: Person, operations: Person, monkeypatch: Any
) -> None:
    document = shed()
    document["positions"] = document["positions"][:2]
    revised: list[Any] = []

    def evaluate_slowly(value: Any) -> Any:
        if not revised:
            revised.append(None)
            revised[:] = run_together(
                lambda: revise_plan(
                    actor=operations, building=building, document=document, note=""
                )
            )
        return evaluate(value)

    monkeypatch.setattr(evaluation_service, "evaluate", evaluate_slowly)
    recorded = post(field_lead, building, entry("wall:A-B", "66'"))
    assert recorded.evaluation is not None
    assert recorded.evaluation.revision == revised[0]


EVALUATOR = """
import sys
import django
django.setup()
from checks.services import evaluation
def stop(_):
    print("evaluating", flush=True)
    sys.stdin.read()
evaluation.evaluate = stop
evaluation.evaluate_changes(int(sys.argv[1]), 10**9)
"""


def test_when_the_evaluator_is_killed_who_waits_evaluates(
    building: Building, field_lead: Person, settings: Any
) -> None:
    settings.VERDICT_WAIT_S = PATIENCE_S
    environment = {
        **os.environ,
        "DATABASE_URL": database_url(),
        "DJANGO_SETTINGS_MODULE": "core.settings",
    }
    root = Path(__file__).parents[3]
    evaluator = subprocess.Popen(
        [sys.executable, "-c", EVALUATOR, str(building.pk)],
        cwd=root,
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert evaluator.stdout is not None
    while evaluator.stdout.readline() != "evaluating\n":
        assert evaluator.poll() is None

    def kill_when_two_wait() -> None:
        wait_for(lambda: count_waiting(building) == 2)
        evaluator.send_signal(signal.SIGKILL)

    first, second = entry("wall:A-B", "66'"), entry("wall:B-C", "38'")
    _, *recorded = run_together(
        kill_when_two_wait,
        lambda: post(field_lead, building, first),
        lambda: post(field_lead, building, second),
    )
    evaluator.communicate()
    assert len({each.evaluation.pk for each in recorded}) == 1
    building.refresh_from_db()
    assert building.evaluation_due_since is None
    assert Reading.objects.count() == 2
