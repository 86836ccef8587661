"""Who has ordered what in the demo, and what happened to each building.

Customers, sites and buildings are invented; days are counted from this morning.
"""

from checks.demo import farms, towns, works
from checks.demo.lines import JobLine

JOBS: tuple[JobLine, ...] = tuple(
    sorted((*works.JOBS, *towns.JOBS, *farms.JOBS), key=lambda line: line.number)
)
