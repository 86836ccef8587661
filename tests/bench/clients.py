"""Clients that post readings to web processes: `python -m tests.bench.clients`.

A building of 60 positions has all its readings; every client then posts one reading
after the other, as phones do. Each line of the table is
the middle one of several rounds that alternate, as the load of a machine varies. Last
come the bytes that the database holds a reading, posted one by one.

`DATABASE_URL` names the server; a database is made for the run and dropped after it.
"""

import argparse
import http.client
import json
import os
import secrets
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import count
from typing import Any

import django
from django.db import connection

from core.celery import app
from tests.bench.building import Document, build_document
from tests.core.servers import ROOT, database_url, free_port

POSITIONS = 60
THREADS = 8
START_S = 60
CLIENTS_AND_BUILDINGS = ((1, 1), (8, 1), (2, 2))
COLUMNS = (
    "web processes", "clients", "buildings", "readings/s", "evaluations a reading",
)  # fmt: skip
_numbers = count(1)


def write_line(text: str) -> None:
    """Write one line of the report at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


@contextmanager
def temporary_database() -> Iterator[None]:
    """Create a database with the program's tables; drop it at the end."""
    name = f"bench_{secrets.token_hex(4)}"
    before = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["NAME"] = name
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)


@contextmanager
def web_server(workers: int, keep_alive: int) -> Iterator[int]:
    """Start the web processes as the deployment does; return their port."""
    port = free_port()
    environment = {
        **os.environ,
        "DATABASE_URL": database_url(),
        "DJANGO_SETTINGS_MODULE": "core.settings",
        "API_RATE": "1000000/min",
        "LOG_LEVEL": "ERROR",
        "OMP_NUM_THREADS": "1",
    }
    command = [
        sys.executable, "-m", "gunicorn", "core.wsgi:application",
        "--bind", f"127.0.0.1:{port}", "--worker-class", "gthread",
        "--workers", str(workers), "--threads", str(THREADS),
        "--keep-alive", str(keep_alive), "--no-control-socket", "--log-level", "error",
    ]  # fmt: skip
    server = subprocess.Popen(command, cwd=ROOT, env=environment)
    try:
        _wait_for_server(port)
        yield port
    finally:
        server.terminate()
        server.wait()


def _wait_for_server(port: int) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        try:
            probe = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            probe.request("GET", "/health/ready")
            probe.getresponse().read()
        except OSError:
            time.sleep(0.1)
        else:
            return
    msg = "The web processes did not start."
    raise TimeoutError(msg)


class PostingClient:
    """One client with a connection that stays open if the server likes.

    Attributes
    ----------
    evaluations : numbers of those that the answers named; None where one follows.
    """

    def __init__(self, port: int, token: str, building: int, entries: list[Document]):
        self.http = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {
            "Authorization": f"Token {token}",
            "Content-Type": "application/json",
        }
        self.path = f"/api/v1/buildings/{building}/readings"
        self.entries = entries
        self.evaluations: set[int | None] = set()

    def post(self, readings: int) -> None:
        """Post this many readings, one by one."""
        for number in range(readings):
            entry = self.entries[number % len(self.entries)]
            entry = {**entry, "id": f"bench-{next(_numbers)}"}
            body = json.dumps({"readings": [entry]})
            self.http.request("POST", self.path, body, self.headers)
            response = self.http.getresponse()
            answer = json.loads(response.read())
            if response.status != http.HTTPStatus.CREATED:
                msg = f"{response.status}: {answer}"
                raise RuntimeError(msg)
            self.evaluations.add(answer["covered_by"])


def measure_rate(clients: Sequence[PostingClient], readings: int) -> float:
    """Return readings a second of clients that post at the same time."""
    threads = [
        threading.Thread(target=client.post, args=[readings // len(clients)])
        for client in clients
    ]
    started = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return readings / (time.perf_counter() - started)


class Scene:
    """Buildings with all their readings, and a token that may record more."""

    def __init__(self, buildings: int) -> None:
        from api.services import create_crew_token
        from checks.services.readings import record_readings
        from core.models import Role
        from tests import factories

        operations = factories.person("olive", Role.OPERATIONS)
        self.lead = factories.person("fern", Role.FIELD)
        job = factories.job(operations, field_lead=self.lead)
        _, self.token = create_crew_token(actor=self.lead, name="bench", days=1)
        self.buildings = []
        self.entries: list[Document] = []
        for number in range(buildings):
            document = build_document(POSITIONS) | {"name": f"Hall {number}"}
            self.entries = document.pop("readings")
            building = factories.building(job, operations, document)
            entries = [
                {**entry, "id": f"base-{each}"}
                for each, entry in enumerate(self.entries)
            ]
            record_readings(actor=self.lead, building=building, entries=entries)
            self.buildings.append(building)

    def connect(self, port: int, clients: int, buildings: int) -> list[PostingClient]:
        """Return clients, spread over buildings, each with checks of its own."""
        share = len(self.entries) // clients
        return [
            PostingClient(
                port,
                self.token,
                self.buildings[number % buildings].pk,
                self.entries[number * share : (number + 1) * share],
            )
            for number in range(clients)
        ]


def compare_rates(scene: Scene, readings: int, rounds: int, keep_alive: int) -> None:
    """Print readings a second by clients, buildings and web processes."""
    write_line(
        "| web processes | clients | buildings | readings/s | evaluations a reading |"
    )
    write_line("| ---: | ---: | ---: | ---: | ---: |")
    rates: dict[tuple[int, int], float] = {}
    for workers in (1, 2):
        with web_server(workers, keep_alive) as port:
            measured: dict[tuple[int, int], list[float]] = {}
            shares: dict[tuple[int, int], float] = {}
            for _ in range(rounds):
                for case in CLIENTS_AND_BUILDINGS:
                    clients = scene.connect(port, *case)
                    rate = measure_rate(clients, readings)
                    measured.setdefault(case, []).append(rate)
                    seen = set().union(*(each.evaluations for each in clients))
                    shares[case] = len(seen) / readings
        for case, several in measured.items():
            rate = rates[workers, case[0]] = statistics.median(several)
            write_line(
                f"| {workers} | {case[0]} | {case[1]} | {rate:.1f}"
                f" | {shares[case]:.2f} |"
            )
    for workers in (1, 2):
        ratio = rates[workers, 8] / rates[workers, 1]
        write_line(f"8 clients over 1, {workers} web processes: {ratio:.2f}")
    write_line(f"2 web processes over 1, 2 clients: {rates[2, 2] / rates[1, 2]:.2f}")


def measure_storage(scene: Scene, readings: int) -> None:
    """Print the bytes that a reading adds to the database, posted one by one."""
    from checks.services.readings import record_readings

    building = scene.buildings[0]
    before = _measure_tables()
    for number in range(readings):
        entry = scene.entries[number % len(scene.entries)]
        entry = {**entry, "id": f"bytes-{number}"}
        record_readings(actor=scene.lead, building=building, entries=[entry])
    after = _measure_tables()
    write_line(f"stored bytes a reading, {readings} posted one by one:")
    added = {name: (size - before[name]) / readings for name, size in after.items()}
    for name, each in sorted(added.items(), key=lambda item: -item[1]):
        if each >= 1:
            write_line(f"  {name}: {each:.0f}")
    write_line(f"  all: {sum(added.values()):.0f}")


def _measure_tables() -> dict[str, int]:
    """Return the size of every table with its indexes, after a full vacuum. [bytes]"""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM FULL")
        cursor.execute(
            "SELECT relname, pg_total_relation_size(oid) FROM pg_class"
            " WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
        )
        return dict(cursor.fetchall())


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print, and leave nothing behind."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.clients")
    parser.add_argument("--readings", type=int, default=48, help="of each round")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--keep-alive", type=int, default=0, help="of the servers [s]")
    parser.add_argument("--stored", type=int, default=300, help="readings, for bytes")
    options: Any = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DATA_DIR", folder)
        os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        django.setup()
        app.loader.import_default_modules()  # a large upload is left to a task
        with temporary_database():
            scene = Scene(buildings=2)
            if options.rounds:
                compare_rates(
                    scene, options.readings, options.rounds, options.keep_alive
                )
            if options.stored:
                measure_storage(scene, options.stored)


if __name__ == "__main__":
    main()
