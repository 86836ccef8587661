"""Evaluation of a building, followed by its findings, progress and stages."""

import logging

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation.evaluate import evaluate
from checks.evaluation.version import MADE_WITH
from checks.evaluation_input import EvaluationInput, load_evaluation_input
from checks.models import Evaluation
from checks.services.finding_lifecycle import sync_findings
from checks.services.hold_points import get_building_status
from checks.services.outbox import record_building_evaluated
from checks.services.stages import write_building_status
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building

logger = logging.getLogger(__name__)


@transaction.atomic
def evaluate_building(building_id: int, *, anew: bool = False) -> Evaluation:
    """Evaluate a building and bring findings, progress and stages up to date.

    The latest evaluation is kept where neither plan nor readings nor program changed
    since. A call is safe at any time; simultaneous calls wait for each other.

    Parameters
    ----------
    building_id : which building.
    anew : compute it even so; the latest evaluation is kept if the result is equal.
    """
    building = Building.objects.select_for_update(no_key=True).get(pk=building_id)
    evaluation_input = load_evaluation_input(building)
    current = _find_current_evaluation(building, evaluation_input)
    if current is None or anew:
        evaluation = _store_evaluation(building, evaluation_input, current)
    else:
        evaluation = current
    findings = sync_findings(building, evaluation, evaluation_input)
    building.evaluation_due_since = None  # saved with the progress
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


def evaluate_due_buildings() -> int:
    """Evaluate every building with changes that no evaluation has seen.

    A building that cannot be evaluated is logged and stays due; the others go on.

    Returns
    -------
    int : how many were evaluated.
    """
    evaluated = 0
    due = Building.objects.exclude(evaluation_due_since=None)
    for pk in due.order_by("evaluation_due_since").values_list("pk", flat=True):
        try:
            evaluate_building(pk)
        except Exception:
            logger.exception("Building %s could not be evaluated.", pk)
        else:
            evaluated += 1
    return evaluated


def mark_evaluation_due(building: Building) -> None:
    """Record that the building has changes that no evaluation has seen."""
    Building.objects.filter(pk=building.pk, evaluation_due_since=None).update(
        evaluation_due_since=now()
    )


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


def _store_evaluation(
    building: Building,
    evaluation_input: EvaluationInput,
    current: Evaluation | None,
) -> Evaluation:
    """Evaluate and store the result, unless it equals that of the current one."""
    result = evaluate(evaluation_input.building)
    if current is not None and sha256_of(current.result) == sha256_of(result):
        return current
    evaluation = Evaluation.objects.create(
        building=building,
        revision=evaluation_input.revision,
        made_with=MADE_WITH,
        input_digest=evaluation_input.digest,
        last_reading_id=evaluation_input.last_reading_id,
        result=result,
    )
    record_building_evaluated(evaluation)
    return evaluation
