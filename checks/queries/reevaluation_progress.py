"""Progress of re-evaluations, counted from the buildings of each run."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Max, Q, QuerySet

from checks.models import Reevaluation, ReevaluationTask

MAX_LISTED_FAILURES = 50
Outcome = ReevaluationTask.Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class ReevaluationProgress:
    """How far a run is.

    Attributes
    ----------
    total : buildings of the run.
    changed, unchanged, failed : buildings that are finished, by outcome.
    last_at : when the last of them was finished.
    """

    run: Reevaluation
    total: int
    changed: int
    unchanged: int
    failed: int
    last_at: datetime | None

    @property
    def finished(self) -> int:
        """Buildings that no worker has to evaluate any more."""
        return self.changed + self.unchanged + self.failed

    @property
    def remaining(self) -> int:
        """Buildings that are not evaluated yet."""
        return self.total - self.finished

    @property
    def percent(self) -> int:
        """Share of finished buildings, rounded down: 100 only at the end."""
        return 100 * self.finished // self.total if self.total else 100

    @property
    def per_minute(self) -> float | None:
        """Buildings a minute since the start; None before the first."""
        if self.last_at is None:
            return None
        seconds = (self.last_at - self.run.started_at).total_seconds()
        return 60 * self.finished / seconds if seconds > 0 else None


def load_progress(runs: QuerySet[Reevaluation]) -> list[ReevaluationProgress]:
    """Load the progress of runs, in their order, in one query."""
    counts = runs.select_related("started_by").annotate(
        total=Count("tasks"),
        last_at=Max("tasks__finished_at"),
        **{
            f"{outcome}_count": Count("tasks", filter=Q(tasks__outcome=outcome))
            for outcome in Outcome.values
        },
    )
    return [_read_progress(run) for run in counts]


def list_failures(run: Reevaluation) -> Iterable[ReevaluationTask]:
    """List the first buildings of a run that failed, with the reason."""
    failed = run.tasks.filter(outcome=Outcome.FAILED)
    return failed.select_related("building__job")[:MAX_LISTED_FAILURES]


def _read_progress(run: Any) -> ReevaluationProgress:
    return ReevaluationProgress(
        run=run,
        total=run.total,
        changed=run.changed_count,
        unchanged=run.unchanged_count,
        failed=run.failed_count,
        last_at=run.last_at,
    )
