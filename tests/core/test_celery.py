"""A task sent through the broker in force is done by a worker of its own process."""

import os
import secrets
import signal
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from core.celery import app
from core.supervisor import SupervisedProcess, Supervisor
from jobs.models import Building
from tests.core.servers import ROOT, database_url

PATIENCE_S = 60


@pytest.fixture
def queue(tmp_path: Path) -> Iterator[str]:
    """Return the name of a queue that one worker listens to."""
    name = f"test-{secrets.token_hex(4)}"
    environment = {
        **os.environ,
        "DATABASE_URL": database_url(),
        "DJANGO_SETTINGS_MODULE": "core.settings",
    }
    command = [
        sys.executable, "-m", "celery", "-A", "core.celery", "worker", "--pool",
        "threads", "--concurrency", "1", "--queues", name, "--without-gossip",
        "--without-mingle", "--loglevel", "INFO",
    ]  # fmt: skip
    together = Supervisor(tmp_path, environment, ROOT)
    together.start([SupervisedProcess("worker", command)])
    yield name
    worker = together.running["worker"]
    worker.send_signal(signal.SIGTERM)
    assert worker.wait(30) == 0, together.read_log_tail("worker")
    together.stop()


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
@pytest.mark.filterwarnings("ignore::celery.exceptions.AlwaysEagerIgnored")
def test_a_worker_evaluates_what_is_due(
    building: Building, queue: str, tmp_path: Path
) -> None:
    Building.objects.filter(pk=building.pk).update(
        evaluation_due_since=datetime(2026, 4, 9, tzinfo=UTC)
    )
    app.send_task("checks.tasks.evaluate_due_buildings", queue=queue)
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        building.refresh_from_db()
        if building.evaluation_due_since is None:
            return
        time.sleep(0.2)
    pytest.fail((tmp_path / "worker.log").read_text()[-4000:])
