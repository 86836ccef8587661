"""Cost of posted readings beside that of their evaluation and of COPY.

`DATABASE_URL=… python -m tests.bench.posting` makes a test database of its own, posts
through the REST interface in this process and prints

- the processor time of posting one reading to a measured building over that of its
  evaluation alone, and the queries of the post;
- the bytes that one such reading adds to the database, with its evaluation and events;
- the time of posting 1, 100, 1000 and 4000 readings to a building without any over that
  of COPY of the same rows, with their foreign keys checked, into a copy of the table.

Processor time is that of this process: the server of the database is not in it. The
times beside COPY are the wall's, as COPY works in the server.
"""

import argparse
import gc
import json
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any
from uuid import uuid4

import django

POSTED = 12
STORED = 100
SINGLE_SIZES = (60, 12)
BATCHES = (1, 100, 1000, 4000)
COPIED_COLUMNS = (
    "client_id, check_key, entry, digest, entered, value, crew, taken_at, recorded_at,"
    " building_id, revision_id, instrument_id, supersedes_id, recorded_by_id"
)


def main() -> None:
    """Print each row."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--batches", nargs="*", type=int, default=BATCHES)
    options = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    os.environ.setdefault("LOG_LEVEL", "ERROR")
    django.setup()
    from django.db import connection
    from django.test.utils import setup_test_environment

    setup_test_environment()
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        for positions in SINGLE_SIZES:
            _print_single(positions)
        _print_stored(SINGLE_SIZES[0])
        for count in options.batches:
            _print_batch(count)
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], 0)


def _print_single(positions: int) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from checks.evaluation.evaluate import evaluate
    from checks.evaluation_input import load_evaluation_input

    client, building, entries = _build(positions)
    _post(client, building, entries)
    with CaptureQueriesContext(connection) as queries:
        _post(client, building, [{**entries[7], "id": "counted"}])
    count = len(queries)
    spent = []
    for number in range(POSTED):
        again = [{**entries[7], "id": f"again-{number}"}]
        spent.append(_measure(partial(_post, client, building, again)))
    values = load_evaluation_input(building).building
    alone = min(_measure(lambda: evaluate(values)) for _ in range(POSTED))
    sys.stdout.write(
        f"one reading, {positions} positions: {min(spent) * 1e3:.1f} ms, its evaluation"
        f" {alone * 1e3:.1f} ms: {min(spent) / alone:.1f} times, {count} queries\n"
    )


def _print_stored(positions: int) -> None:
    client, building, entries = _build(positions)
    _post(client, building, entries)
    before = _count_bytes()
    for number in range(STORED):
        _post(client, building, [{**entries[7], "id": f"stored-{number}"}])
    each = (_count_bytes() - before) / STORED
    sys.stdout.write(f"one reading, {positions} positions: {each:.0f} bytes stored\n")


def _count_bytes() -> int:
    """Count the bytes of all tables without what updates left behind."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("VACUUM FULL")
        cursor.execute(
            "SELECT sum(pg_total_relation_size(oid)) FROM pg_class"
            " WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
        )
        return int(cursor.fetchone()[0])


def _print_batch(count: int) -> None:
    client, building, entries = _build(60)
    many = (entries * (count // len(entries) + 1))[:count]
    batch = [{**entry, "id": f"n{i}"} for i, entry in enumerate(many)]
    posted = _measure(lambda: _post(client, building, batch), time.perf_counter)
    copied = min(_copy_rows(building, count) for _ in range(3))
    sys.stdout.write(
        f"{count} readings: {posted * 1e3:.0f} ms, COPY {copied * 1e3:.1f} ms:"
        f" {posted / copied:.0f} times\n"
    )


def _build(positions: int) -> tuple[Any, Any, list[dict[str, Any]]]:
    """Build a job with one building; return a client, it, and its readings."""
    from rest_framework.test import APIClient

    from core.models import Role
    from tests import factories
    from tests.bench.building import build_document

    document = build_document(positions, far=False)
    entries = document.pop("readings")
    manager = factories.person(f"manager-{uuid4().hex[:8]}", Role.OPERATIONS)
    job = factories.job(manager)
    building = factories.building(job, manager, document)
    client = APIClient()
    client.force_login(manager)
    return client, building, entries


def _post(client: Any, building: Any, entries: list[dict[str, Any]]) -> None:
    answer = client.post(
        f"/api/v1/buildings/{building.pk}/readings",
        json.dumps({"readings": entries}),
        content_type="application/json",
    )
    if answer.status_code != 201:
        raise RuntimeError(answer.content[:500])


def _measure(
    task: Callable[[], object], clock: Callable[[], float] = time.process_time
) -> float:
    gc.collect()
    started = clock()
    task()
    return clock() - started


def _copy_rows(building: Any, count: int) -> float:
    """Return the time of COPY of a building's rows into a table like theirs."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS bench_copy")
        cursor.execute("CREATE TABLE bench_copy (LIKE checks_reading INCLUDING ALL)")
        for column, table in (
            ("building_id", "jobs_building"),
            ("revision_id", "jobs_planrevision"),
            ("recorded_by_id", "core_person"),
        ):
            cursor.execute(
                f"ALTER TABLE bench_copy ADD FOREIGN KEY ({column}) REFERENCES {table}"
            )
        wanted = f"SELECT {COPIED_COLUMNS} FROM checks_reading WHERE building_id = %s"  # noqa: S608
        with cursor.copy(
            f"COPY ({wanted} LIMIT %s) TO STDOUT", (building.pk, count)
        ) as copy:
            rows = b"".join(bytes(each) for each in copy)
        started = time.perf_counter()
        with cursor.copy(f"COPY bench_copy ({COPIED_COLUMNS}) FROM STDIN") as copy:
            copy.write(rows)
        return time.perf_counter() - started


if __name__ == "__main__":
    main()
