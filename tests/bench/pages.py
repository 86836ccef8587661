"""`python -m tests.bench.pages` prints the cost of pages, reports and idle processes.

Processor time, the best of several runs, in a database of the tests' own. Nothing is
asserted: bounds on memory and queries are in `tests/checks` and `tests/core`.
"""

import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import django
from django.conf import settings
from django.test.utils import get_runner, setup_test_environment

ROOT = Path(__file__).resolve().parents[2]
REPORTS = 200
MEGABYTE = 1e6
SMALL, LARGE, MANY_READINGS = 12, 60, 4000
COLD_START = """
import time
from core.celery import app
app.loader.import_default_modules()
app.finalize()
print(time.process_time())
"""
SUPERVISOR = """
import core.demo_supervisor
from tests.bench.pages import resident_bytes
print(resident_bytes())
"""


def resident_bytes() -> int:
    """Return the resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize()


def run_python(source: str, times: int = 5) -> float:
    """Return the least number that a program prints, each time in a new process."""
    command = [sys.executable, "-c", source]
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "core.settings"}
    return min(
        float(subprocess.check_output(command, cwd=ROOT, env=environment))
        for _ in range(times)
    )


def print_row(what: str, value: str) -> None:
    """Print one row of the table."""
    sys.stdout.write(f"| {what} | {value} |\n")
    sys.stdout.flush()


def bench_pages(people: Any, halls: dict[str, Any]) -> None:
    """Time the pages of small and large buildings."""
    from django.core.cache import caches
    from django.test import Client
    from django.urls import reverse

    client = Client()
    client.force_login(people)

    def measure_ms(name: str, hall: str, *, cold: bool = False) -> float:
        url = reverse(name, args=[halls[hall].pk])
        client.get(url)
        best = float("inf")
        for _ in range(7):
            if cold:
                caches["fragments"].clear()
            started = time.process_time()
            client.get(url)
            best = min(best, time.process_time() - started)
        return best * 1e3

    for name, title, dividend, divisor in (
        ("building", "building page, 60 positions over 12", "large", "small"),
        ("checks:measure", "measure page, 4000 readings over none", "many", "blank"),
    ):
        large, small = measure_ms(name, dividend), measure_ms(name, divisor)
        print_row(title, f"{large:.0f} ms / {small:.0f} ms = {large / small:.2f}")
    large, small = (
        measure_ms("building", hall, cold=True) for hall in ("large", "small")
    )
    print_row("the same building pages after a change, nothing kept",
              f"{large:.0f} ms / {small:.0f} ms = {large / small:.2f}")  # fmt: skip
    url = reverse("building", args=[halls["large"].pk])
    plain, packed = (
        client.get(url),
        client.get(url, headers={"Accept-Encoding": "gzip"}),
    )
    sizes = [len(page.content) / 1e3 for page in (plain, packed)]
    print_row(
        "building page of 60 positions, sent plain and compressed",
        f"{sizes[0]:.0f} kB, {sizes[1]:.0f} kB",
    )


def bench_reports(hall: Any) -> None:
    """Typeset many reports of a building, and print the growth of this process."""
    from django.utils.timezone import now

    from checks.reports.status_report import render_status_pdf

    before, largest = resident_bytes(), 0
    for _ in range(REPORTS):
        size = len(render_status_pdf(hall, now()))
        largest = max(largest, resident_bytes())
    print_row("status report of 60 positions", f"{size / MEGABYTE:.2f} MB")
    print_row(f"this process before and at most during {REPORTS} reports",
              f"{before / MEGABYTE:.0f} MB, {largest / MEGABYTE:.0f} MB")  # fmt: skip


def build_halls(operations: Any, field_lead: Any) -> dict[str, Any]:
    """Record the buildings that are timed."""
    from checks.services.readings import record_readings
    from tests import factories
    from tests.bench.building import build_document

    job = factories.job(operations, field_lead=field_lead)
    halls = {}
    for name, positions, times in (
        ("small", SMALL, 1),
        ("large", LARGE, 1),
        ("blank", LARGE, 0),
        ("many", LARGE, 3),
    ):
        document = {**build_document(positions), "name": name}
        readings = document.pop("readings")
        halls[name] = factories.building(job, operations, document)
        entries = [
            {**reading, "id": f"{reading['id']}-{number}"}
            for number in range(times)
            for reading in readings
        ]
        if times:
            record_readings(
                actor=field_lead, building=halls[name], entries=entries[:MANY_READINGS]
            )
    return halls


def main() -> None:
    """Print the table."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    setup_test_environment()
    settings.CACHES["fragments"] = {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache"
    }
    from core.models import Role
    from tests import factories

    sys.stdout.write("| what | measured |\n| --- | --- |\n")
    print_row("cold start of a worker", f"{run_python(COLD_START):.2f} s")
    print_row("idle parent of the demo",
              f"{run_python(SUPERVISOR, 1) / MEGABYTE:.0f} MB")  # fmt: skip
    runner = get_runner(settings)(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        lead = factories.person("fern", Role.FIELD)
        halls = build_halls(factories.person("olive", Role.OPERATIONS), lead)
        bench_pages(lead, halls)
        bench_reports(halls["large"])
    finally:
        runner.teardown_databases(databases)


if __name__ == "__main__":
    main()
