"""Evaluation of a building, followed by its findings, progress and stages."""

import logging
from dataclasses import dataclass

from celery import current_app
from django.db import OperationalError, connection, transaction
from psycopg.errors import LockNotAvailable

from checks.evaluation.evaluate import evaluate
from checks.evaluation.version import MADE_WITH
from checks.evaluation_input import EvaluationInput, load_evaluation_input
from checks.models import Evaluation
from checks.services.evaluation_storage import (
    drop_replaced_results,
    store_evaluation,
)
from checks.services.finding_lifecycle import sync_findings
from checks.services.hold_points import get_building_status
from checks.services.stages import write_building_status
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.result.document import ResultDocument
from jobs.models import Building

logger = logging.getLogger(__name__)


EVALUATION_LOCKS = 7301
"""First key of the advisory locks under which a building is evaluated."""


@transaction.atomic
def evaluate_building(building_id: int, *, anew: bool = False) -> Evaluation:
    """Evaluate a building and bring findings, progress and stages up to date.

    The latest evaluation is kept where neither plan nor readings nor program changed
    since. A call is safe at any time, also in a transaction that has the building
    locked; nothing can be recorded for this building meanwhile.

    Parameters
    ----------
    building_id : which building.
    anew : compute it even so; the latest evaluation is kept if the result is equal.
    """
    building = Building.objects.select_for_update(no_key=True).get(pk=building_id)
    return _write_outcome(building, _compute_outcome(building, anew=anew))


def evaluate_changes(
    building_id: int, change: int, *, wait_s: float | None = None
) -> Evaluation | None:
    """Evaluate a building, unless an evaluation has seen this change already.

    Readings can be recorded while a building is evaluated. Of many callers one
    evaluates everything recorded so far; the others wait for it, and most find their
    change seen.

    Parameters
    ----------
    building_id : of the building.
    change : the number of the change, `Building.change_number` after it was stored.
    wait_s : how long to wait for an evaluation under way; None waits for its end. [s]

    Returns
    -------
    Evaluation or None : one that has seen the change; None where the wait was over.
    """
    try:
        with transaction.atomic():
            if not _lock_evaluation(building_id, wait_s):
                return None
            building = Building.objects.get(pk=building_id)
            seen = _find_covering_evaluation(building, change)
            return seen or _evaluate_unlocked(building)
    except OperationalError as error:
        if isinstance(error.__cause__, LockNotAvailable):
            return None
        raise


def evaluate_or_leave_due(building: Building) -> Evaluation | None:
    """Evaluate a building whose data is stored; on failure leave it to the next sweep.

    Nothing that was recorded may be lost because it cannot be evaluated yet.

    Returns
    -------
    Evaluation or None
        The latest; None where the building could not be evaluated.
    """
    evaluation = None
    try:
        evaluation = evaluate_building(building.pk)
    except Exception:
        logger.exception("Building %s could not be evaluated.", building.pk)
    building.refresh_from_db()
    return evaluation


def await_evaluation(
    building: Building, change: int, wait_s: float
) -> Evaluation | None:
    """Evaluate a stored change as `evaluate_changes` does; never fail.

    None where the verdict follows: the building stays due, and the sweep evaluates it.
    """
    evaluation = None
    try:
        evaluation = evaluate_changes(building.pk, change, wait_s=wait_s)
    except Exception:
        logger.exception("Building %s could not be evaluated.", building.pk)
    building.refresh_from_db()
    return evaluation


def queue_evaluation(building: Building, change: int) -> None:
    """Leave a stored change to a worker.

    Where the broker cannot be reached, the sweep evaluates it.
    """
    # By its name: the tasks are above the services, which they call.
    task = current_app.tasks["checks.tasks.evaluate_changes"]
    transaction.on_commit(lambda: task.delay(building.pk, change), robust=True)


def evaluate_due_buildings() -> int:
    """Evaluate every building with changes that no evaluation has seen.

    A building that cannot be evaluated is logged and stays due; the others go on. One
    that is being evaluated is left to the next sweep.

    Returns
    -------
    int : how many were evaluated.
    """
    evaluated = 0
    due = Building.objects.exclude(evaluation_due_since=None)
    rows = due.order_by("evaluation_due_since").values_list("pk", "change_number")
    for pk, change in rows:
        try:
            evaluated += evaluate_changes(pk, change, wait_s=0) is not None
        except Exception:
            logger.exception("Building %s could not be evaluated.", pk)
    return evaluated


def _lock_evaluation(building_id: int, wait_s: float | None) -> bool:
    """Lock a building's evaluation until the transaction ends.

    The rows stay free: who records readings must not wait for the arithmetic.

    Raises
    ------
    OperationalError
        From `LockNotAvailable`, if the wait was over.
    """
    keys = [EVALUATION_LOCKS, building_id]
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s, %s)", keys)
        if cursor.fetchone()[0]:
            return True
        if wait_s == 0:
            return False
        cursor.execute("SELECT current_setting('lock_timeout')")
        (before,) = cursor.fetchone()
        timeout = f"{round(1000 * (wait_s or 0))}ms"  # 0 waits for ever
        set_timeout = "SELECT set_config('lock_timeout', %s, true)"
        cursor.execute(set_timeout, [timeout])
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", keys)
        cursor.execute(set_timeout, [before])
    return True


@dataclass(frozen=True, slots=True)
class _Outcome:
    """The outcome of an evaluation before it is stored.

    Attributes
    ----------
    latest : the stored evaluation of the same input and result, where there is one.
    result : of this input, where there is none.
    """

    evaluation_input: EvaluationInput
    change: int
    latest: Evaluation | None
    result: ResultDocument | None


def _compute_outcome(building: Building, *, anew: bool = False) -> _Outcome:
    """Evaluate what is recorded; nothing is written.

    The building was loaded first, so its change number is never ahead of the input.
    """
    evaluation_input = load_evaluation_input(building)
    latest = _find_current_evaluation(building, evaluation_input)
    result = None
    if latest is None or anew:
        result = evaluate(evaluation_input.building)
        if latest is not None and sha256_of(latest.result) != sha256_of(result):
            latest = None
    return _Outcome(evaluation_input, building.change_number, latest, result)


def _evaluate_unlocked(building: Building) -> Evaluation:
    """Evaluate without the building's row locked; lock it to write only."""
    outcome = _compute_outcome(building)
    locked = Building.objects.select_for_update(no_key=True).get(pk=building.pk)
    evaluated_since = locked.evaluated_change != building.evaluated_change
    if evaluated_since or (
        locked.change_number != outcome.change
        and locked.current_revision().pk != outcome.evaluation_input.revision.pk
    ):
        # A later state is stored, or another plan is in force: this one is no news.
        outcome = _compute_outcome(locked)
    return _write_outcome(locked, outcome)


def _write_outcome(building: Building, outcome: _Outcome) -> Evaluation:
    """Store an evaluation with its findings and progress; the building is locked."""
    evaluation_input = outcome.evaluation_input
    evaluation = outcome.latest
    if evaluation is None:
        assert outcome.result is not None  # noqa: S101  # there is one or the other
        evaluation = store_evaluation(building, evaluation_input, outcome.result)
    findings = sync_findings(building, evaluation, evaluation_input)
    drop_replaced_results(evaluation)
    # Both are saved with the progress.
    building.evaluated_change = outcome.change
    if building.change_number == outcome.change:
        building.evaluation_due_since = None
    status = get_building_status(
        building,
        evaluation,
        revision=evaluation_input.revision,
        plan=evaluation_input.building.plan,
        times=evaluation_input.times,
        findings=findings,
    )
    write_building_status(status)
    return evaluation


def _find_covering_evaluation(building: Building, change: int) -> Evaluation | None:
    """Return the latest evaluation if it has seen the change.

    A building may be due without a change that has a number: then it is evaluated.
    """
    is_ahead = building.change_number > building.evaluated_change
    if building.evaluated_change < change or (
        building.evaluation_due_since is not None and not is_ahead
    ):
        return None
    return _find_latest_evaluation(building)


def _find_latest_evaluation(building: Building) -> Evaluation | None:
    return Evaluation.objects.filter(building=building).order_by("-pk").first()


def _find_current_evaluation(
    building: Building, evaluation_input: EvaluationInput
) -> Evaluation | None:
    """Return the latest evaluation if it was made from this very input."""
    evaluations = Evaluation.objects.filter(building=building).order_by("-pk")
    # A result takes longer to load than everything else: only where it is needed.
    latest = evaluations.values_list("pk", "revision", "made_with", "input_digest")
    found = latest.first()
    wanted = evaluation_input.revision.pk, MADE_WITH, evaluation_input.digest
    if found is None or found[1:] != wanted:
        return None
    return evaluations.get(pk=found[0])
