"""Cache of parsed plan revisions, keyed by their SHA-256."""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from jobs.anchor_plan.values import Plan
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import parse_building
from jobs.models import PlanRevision

MAX_CACHED_PLANS = 256  # a large plan takes some 100 kB


@dataclass(frozen=True, slots=True)
class _StoredDocument:
    """A document that is compared by its SHA-256 alone."""

    digest: str
    document: dict[str, object] = field(compare=False)


def load_plan(revision: PlanRevision) -> Plan:
    """Return a revision's plan; each document is parsed once per process."""
    return _parse_stored(_StoredDocument(revision.digest, revision.document))


def load_document_plan(document: dict[str, Any]) -> tuple[Plan, str]:
    """Parse the plan of a document without readings, once per process and content.

    Returns
    -------
    plan : Plan
    digest : str
        SHA-256 of the document.
    """
    digest = sha256_of(document)
    return _parse_stored(_StoredDocument(digest, document)), digest


@lru_cache(maxsize=MAX_CACHED_PLANS)
def _parse_stored(stored: _StoredDocument) -> Plan:
    return parse_building(stored.document).plan
