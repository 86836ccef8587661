"""Re-evaluation of many buildings by many workers.

A run has a row for each building. A worker locks the row while it evaluates and marks
it in the same transaction as the result, so that a message delivered twice evaluates
once, and a worker that is killed leaves its building waiting for another.
"""

import logging
from collections.abc import Sequence
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import OperationalError, transaction
from django.db.models import Exists, F, Max, OuterRef
from django.utils.timezone import now

from checks.evaluation.version import MADE_WITH
from checks.models import Evaluation, Reevaluation, ReevaluationTask
from checks.services.evaluation import evaluate_building
from core.models import Person
from core.permissions import Action, require
from jobs.models import Building

logger = logging.getLogger(__name__)

BATCH_SIZE = 10
"""Buildings of one message: a second of work, so that interactive work waits no longer
where one worker serves all queues."""
MAX_ATTEMPTS = 5
"""A building that ends its worker this often is given up, or it would end all."""
STALL_S = 120
"""A run without progress for this long is handed to the workers again. A broker that
keeps no unacknowledged message may have lost some."""
Outcome = ReevaluationTask.Outcome


def start_reevaluation(*, actor: Person, reason: str, note: str = "") -> Reevaluation:
    """Start a run over the buildings that a person may see; queue it afterwards.

    A new program version concerns the buildings whose latest evaluation was made by
    another version; other reasons concern every building.

    Raises
    ------
    PermissionDenied
        If this person may not.
    ValidationError
        If no building is concerned, or the reason or the note cannot be stored.
    """
    require(actor, Action.REEVALUATE, roles={actor.role})
    buildings = _list_concerned(actor, reason)
    if not buildings:
        msg = "No building is concerned: all have been evaluated by this version."
        raise ValidationError(msg, code="none")
    with transaction.atomic():
        run = Reevaluation(
            reason=reason,
            note=" ".join(note.split()),
            made_with=MADE_WITH,
            started_by=actor,
            queued_at=now(),
        )
        run.full_clean()
        run.save()
        ReevaluationTask.objects.bulk_create(
            (ReevaluationTask(reevaluation=run, building_id=pk) for pk in buildings),
            batch_size=1000,
        )
    return run


def resume_reevaluation(*, actor: Person, run: Reevaluation) -> None:
    """Open a run for its unfinished and failed buildings; queue it afterwards.

    Raises
    ------
    PermissionDenied
        If this person may not.
    """
    require(actor, Action.REEVALUATE, roles={actor.role})
    with transaction.atomic():
        run.tasks.filter(outcome=Outcome.FAILED).update(
            outcome="", failure="", finished_at=None, attempts=0
        )
        if run.tasks.filter(finished_at=None).exists():
            Reevaluation.objects.filter(pk=run.pk).update(finished_at=None)


def reevaluate_buildings(run_id: int, building_ids: Sequence[int]) -> int:
    """Evaluate buildings of a run that are neither finished nor at another worker.

    Safe to call twice, also at once. What fails for a passing reason, such as a lost
    connection, stays unfinished.

    Returns
    -------
    int : how many were finished by this call.
    """
    run = Reevaluation.objects.get(pk=run_id)
    finished = 0
    for building_id in building_ids:
        try:
            finished += _reevaluate(run, building_id)
        except OperationalError:
            logger.exception("Building %s has to be evaluated again.", building_id)
    finish_reevaluation(run)
    return finished


def finish_reevaluation(run: Reevaluation) -> None:
    """Mark a run as finished where none of its buildings waits."""
    waiting = ReevaluationTask.objects.filter(
        reevaluation=OuterRef("pk"), finished_at=None
    )
    Reevaluation.objects.unfinished().filter(~Exists(waiting), pk=run.pk).update(
        finished_at=now()
    )


def list_stalled_reevaluations() -> list[int]:
    """List the unfinished runs that made no progress for a while."""
    limit = now() - timedelta(seconds=STALL_S)
    runs = Reevaluation.objects.unfinished().filter(queued_at__lt=limit)
    moving = ReevaluationTask.objects.filter(
        reevaluation=OuterRef("pk"), finished_at__gte=limit
    )
    return list(runs.exclude(Exists(moving)).values_list("pk", flat=True))


def prepare_batches(run_id: int) -> list[list[int]]:
    """Note that a run is queued now; return its waiting buildings in batches."""
    run = Reevaluation.objects.get(pk=run_id)
    finish_reevaluation(run)
    Reevaluation.objects.filter(pk=run_id).update(queued_at=now())
    waiting = run.tasks.filter(finished_at=None).order_by("building_id")
    ids = list(waiting.values_list("building_id", flat=True))
    return [ids[start : start + BATCH_SIZE] for start in range(0, len(ids), BATCH_SIZE)]


def _list_concerned(actor: Person, reason: str) -> list[int]:
    buildings = Building.objects.visible_to(actor)
    if reason == Reevaluation.Reason.PROGRAM:
        current = Evaluation.objects.filter(
            building=OuterRef("pk"), made_with=MADE_WITH
        )
        buildings = buildings.filter(~Exists(current))
    return list(buildings.order_by("pk").values_list("pk", flat=True))


def _reevaluate(run: Reevaluation, building_id: int) -> bool:
    """Evaluate one building of a run; return whether this call finished it."""
    # The row alone: the order of a run's rows joins the run, and a lock on that would
    # keep every other worker out.
    row = run.tasks.select_for_update(skip_locked=True, of=("self",)).filter(
        building=building_id, finished_at=None
    )
    # Counted in a transaction of its own: a killed worker rolls back the next one.
    with transaction.atomic():
        task = row.first()
        if task is None:
            return False
        ReevaluationTask.objects.filter(pk=task.pk).update(attempts=F("attempts") + 1)
    with transaction.atomic():
        task = row.first()
        if task is None:
            return False
        task.outcome, task.failure = _evaluate(run, task)
        task.finished_at = now()
        task.save(update_fields=["outcome", "failure", "finished_at"])
    return True


def _evaluate(run: Reevaluation, task: ReevaluationTask) -> tuple[str, str]:
    """Evaluate a locked building; return the outcome and why it failed."""
    if task.attempts > MAX_ATTEMPTS:
        return Outcome.FAILED, f"The worker ended {MAX_ATTEMPTS} times meanwhile."
    latest = Evaluation.objects.filter(building=task.building_id).aggregate(Max("pk"))
    try:
        made = evaluate_building(
            task.building_id, anew=run.reason != Reevaluation.Reason.PROGRAM
        )
    except OperationalError:
        raise
    except Exception as fault:
        logger.exception("Building %s could not be evaluated.", task.building_id)
        return Outcome.FAILED, f"{type(fault).__name__}: {fault}"[:200]
    same = made.pk == latest["pk__max"]
    return (Outcome.UNCHANGED if same else Outcome.CHANGED), ""
