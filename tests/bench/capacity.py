"""`python -m tests.bench.capacity`: what a number of companies needs, as a table.

First the costs are measured on this machine: processor time of a posted reading, a page
and a re-evaluation, the database's included, and the bytes that a reading adds. Then
the busiest hour of a busy day is simulated: readings come at random, pages with them,
and each request waits for a free processor. The table has the web processes that keep
95 of 100 waits below a second, the workers that re-evaluate a year's buildings in a
night, and the size of a year's record. The rest is `Assumptions`, printed above it.
"""

import heapq
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, fields

import django
import numpy as np

from tests.bench.fleet import (
    DATABASE,
    fill_buildings,
    fill_database,
    own_database,
    read_cpu_s,
)

POSTS = 20
BUILDINGS, POSITIONS = 4, 24
LOGIN_BACKEND = "django.contrib.auth.backends.ModelBackend"
MAX_WAIT_S = 1.0
COMPANIES = (1, 100, 10_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumptions:
    """How companies work; invented, and to be replaced by the reader's own.

    Units are in the names; `buildings_in_work` are those measured at one time.
    """

    crews_per_company: int = 3
    buildings_per_company_year: int = 40
    readings_per_building: int = 400
    working_days_year: int = 240
    busiest_over_mean_day: float = 2.5
    share_in_busiest_hour: float = 0.2
    pages_per_reading: float = 1.5
    reevaluation_hours: float = 8.0
    photographs_per_building: int = 40
    photograph_mb: float = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Measured costs: processor time in s, storage in bytes."""

    post_s: float
    page_s: float
    evaluation_s: float
    reading_bytes: float
    building_bytes: float


def main() -> None:
    """Measure, simulate and print the table."""
    address = os.environ["DATABASE_URL"].rpartition("/")[0]
    os.environ["DATABASE_URL"] = f"{address}/{DATABASE}"
    os.environ |= {"OMP_NUM_THREADS": "1", "LOG_LEVEL": "ERROR"}
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    with own_database(address):
        django.setup()
        fill_database(0, POSITIONS)
        empty = _read_database_size()
        fill_buildings(BUILDINGS, POSITIONS)
        costs = measure_costs(empty)
    given = Assumptions()
    write = sys.stdout.write
    for each in (given, costs):
        for field in fields(each):
            write(f"    {field.name} = {getattr(each, field.name):.4g}\n")
    write(
        "\n| companies | crews | readings a day | buildings a year | web processes |"
        " bulk workers | database a year, at most [GB] | photographs a year [GB] |\n"
        "| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n"
    )
    for companies in COMPANIES:
        write(format_row(companies, given, costs) + "\n")


def measure_costs(empty: int) -> Costs:
    """Measure with the database sessions' processor time; the mean of several."""
    from django.test import Client
    from django.urls import reverse

    from checks.services.evaluation import evaluate_building
    from core.models import Person
    from jobs.models import Building

    client = Client(headers={"host": "localhost"})
    client.force_login(Person.objects.get(username="crew"), LOGIN_BACKEND)
    building = Building.objects.order_by("pk")[0]
    size = _read_database_size()
    address = reverse("api:readings", args=[building.pk])
    numbers = iter(range(10 * POSTS))

    def post() -> None:
        reading = {"id": f"c{next(numbers)}", "check": "level:S1", "value": "1500 mm"}
        body = {"readings": [{**reading, "instrument": "L", "setup": "1"}]}
        answer = client.post(address, body, content_type="application/json")
        assert answer.status_code == 201, answer.content

    page = reverse("building", args=[building.pk])
    post_s = _measure_cpu_s(post, POSTS)
    return Costs(
        post_s=post_s,
        page_s=_measure_cpu_s(lambda: client.get(page), POSTS // 4),
        evaluation_s=_measure_cpu_s(
            lambda: evaluate_building(building.pk, anew=True), POSTS // 4
        ),
        reading_bytes=(_read_database_size() - size) / next(numbers),
        building_bytes=(size - empty) / BUILDINGS,
    )


def _measure_cpu_s(task: Callable[[], object], times: int) -> float:
    """Return the mean processor time of a task, here and in the database. [s]"""
    task()
    before = time.process_time() + read_cpu_s([])
    for _ in range(times):
        task()
    return (time.process_time() + read_cpu_s([]) - before) / times


def _read_database_size() -> int:
    """Read the size of the database without dead rows. [bytes]"""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("VACUUM FULL")
        cursor.execute("SELECT pg_database_size(current_database())")
        return int(cursor.fetchone()[0])


def format_row(companies: int, given: Assumptions, costs: Costs) -> str:
    """Compute one row of the table."""
    buildings = companies * given.buildings_per_company_year
    readings = buildings * given.readings_per_building
    a_day = given.busiest_over_mean_day * readings / given.working_days_year
    # A building's size has its readings as uploaded at once; those posted one by one
    # are added, so that a record of either kind is at most this large.
    stored = readings * costs.reading_bytes + buildings * costs.building_bytes
    pictures = buildings * given.photographs_per_building * given.photograph_mb
    again_s = buildings * costs.evaluation_s
    cells = (
        companies,
        companies * given.crews_per_company,
        round(a_day),
        buildings,
        count_web_processes(a_day, given, costs),
        max(1, int(np.ceil(again_s / (given.reevaluation_hours * 3600)))),
        f"{stored / 1e9:.1f}",
        f"{pictures / 1e3:.1f}",
    )
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def count_web_processes(a_day: float, given: Assumptions, costs: Costs) -> int:
    """Count the processes that keep 95 of 100 waits in the busiest hour short.

    The least number is found by doubling what the work takes, then by halving.
    """
    arrivals, work = simulate_busiest_hour(a_day, given, costs)
    enough = max(1, int(work.sum() / 3600.0))
    while not _is_short(arrivals, work, enough):
        enough *= 2
    short = max(0, int(work.sum() / 3600.0) - 1)
    while enough - short > 1:
        middle = (short + enough) // 2
        if _is_short(arrivals, work, middle):
            enough = middle
        else:
            short = middle
    return enough


def simulate_busiest_hour(
    a_day: float, given: Assumptions, costs: Costs
) -> tuple[np.ndarray, np.ndarray]:
    """Draw the requests of the busiest hour: times and processor time of each. [s]

    Readings come at random (a Poisson process), each followed by its pages; the
    processor time varies by an exponential share of a quarter.
    """
    rng = np.random.default_rng(17)
    readings = rng.poisson(a_day * given.share_in_busiest_hour)
    pages = rng.poisson(readings * given.pages_per_reading)
    mean = np.repeat([costs.post_s, costs.page_s], [readings, pages])
    work = mean * (0.75 + 0.25 * rng.exponential(size=len(mean)))
    arrivals = rng.uniform(0.0, 3600.0, len(mean))
    order = np.argsort(arrivals)
    return arrivals[order], work[order]


def _is_short(arrivals: np.ndarray, work: np.ndarray, processes: int) -> bool:
    """Return whether 95 of 100 requests wait at most `MAX_WAIT_S` for a process."""
    free = [0.0] * processes
    waits = np.empty(len(arrivals))
    for index, (at, takes) in enumerate(zip(arrivals, work, strict=True)):
        first = heapq.heappop(free)
        begins = max(at, first)
        waits[index] = begins - at
        heapq.heappush(free, begins + takes)
    return len(waits) == 0 or float(np.quantile(waits, 0.95)) <= MAX_WAIT_S


if __name__ == "__main__":
    main()
