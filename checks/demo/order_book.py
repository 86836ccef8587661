"""Who has ordered what in the demo, and what happened to each building.

Customers, sites and buildings are invented; days are counted from this morning.
"""

from checks.demo import farms, towns, works
from checks.demo.catalogue import DemoJob

JOBS: tuple[DemoJob, ...] = tuple(
    sorted((*works.JOBS, *towns.JOBS, *farms.JOBS), key=lambda line: line.number)
)
