"""A stored plan revision as values: parsed once, kept by its digest."""

from dataclasses import dataclass, field
from functools import lru_cache

from jobs.exchange.parse import read_building
from jobs.models import PlanRevision
from jobs.plan.model import Plan

KEPT = 256  # plans; a large one is some 100 kB


@dataclass(frozen=True, slots=True)
class _Stored:
    """A document that is told apart from others by its digest alone."""

    digest: str
    document: dict[str, object] = field(compare=False)


def plan_of(revision: PlanRevision) -> Plan:
    """Read a revision's document; the same digest is read once per process."""
    return _read(_Stored(revision.digest, revision.document))


@lru_cache(maxsize=KEPT)
def _read(stored: _Stored) -> Plan:
    return read_building(stored.document).plan
