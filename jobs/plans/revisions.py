"""Plan revisions with what each of them changed."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet

from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_diff import PlanChange, compare_plans

REVISIONS_PER_PAGE = 10


@dataclass(frozen=True, slots=True)
class RevisionChanges:
    """One revision of a plan, and its changes against the one before."""

    revision: PlanRevision
    changes: tuple[PlanChange, ...]


def list_revisions(building: Building) -> list[RevisionChanges]:
    """List every revision of a building's plan, newest first; one query."""
    return _add_changes(list(_order_revisions(building)))


def paginate_revisions(
    building: Building, page: str | None
) -> tuple[Page[Any], list[RevisionChanges]]:
    """Return one page of the revisions of a building's plan, newest first."""
    revisions = _order_revisions(building)
    found = Paginator(revisions, REVISIONS_PER_PAGE).get_page(page)
    first = found.start_index() - 1
    # One more than shown: the last of a page is compared with the one after it.
    rows = _add_changes(list(revisions[first : first + REVISIONS_PER_PAGE + 1]))
    return found, rows[:REVISIONS_PER_PAGE]


def _order_revisions(building: Building) -> QuerySet[PlanRevision]:
    return building.revisions.select_related("drawn_by").order_by("-number")


def _add_changes(revisions: list[PlanRevision]) -> list[RevisionChanges]:
    plans = [load_plan(revision) for revision in revisions]
    rows = [
        RevisionChanges(revision, compare_plans(old, new))
        for revision, (new, old) in zip(revisions, pairwise(plans), strict=False)
    ]
    return [*rows, RevisionChanges(revisions[-1], ())]
