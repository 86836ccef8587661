"""Judging a building: one evaluation, then findings, progress and stages by it."""

import logging

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation.evaluate import evaluate
from checks.evaluation.version import MADE_WITH
from checks.evaluation_input import EvaluationInput, load_evaluation_input
from checks.models import Evaluation
from checks.services.finding_lifecycle import sync_findings
from checks.services.outbox import record_building_evaluated
from checks.services.stages import update_building_status
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building

logger = logging.getLogger(__name__)


@transaction.atomic
def evaluate_building(building_id: int) -> Evaluation:
    """Evaluate a building and bring findings, progress and stages up to date.

    Where neither the plan, nor the readings, nor the program changed since the
    latest evaluation, that one is kept. Safe to call at any time, any number of
    times; two calls at once follow each other.
    """
    building = Building.objects.select_for_update(no_key=True).get(pk=building_id)
    known = load_evaluation_input(building)
    evaluation = _find_current_evaluation(building, known) or _store_evaluation(
        building, known
    )
    building.evaluation_due_since = None
    building.save(update_fields=["evaluation_due_since"])
    sync_findings(building, evaluation, known)
    update_building_status(building, evaluation)
    return evaluation


def evaluate_due_buildings() -> int:
    """Evaluate every building that has something no evaluation has seen.

    One that cannot be evaluated is logged, stays due and holds up no other.

    Returns
    -------
    int : how many were evaluated.
    """
    done = 0
    due = Building.objects.exclude(evaluation_due_since=None)
    for pk in due.order_by("evaluation_due_since").values_list("pk", flat=True):
        try:
            evaluate_building(pk)
        except Exception:
            logger.exception("Building %s could not be evaluated.", pk)
        else:
            done += 1
    return done


def mark_evaluation_due(building: Building) -> None:
    """Note that something changed which no evaluation has seen."""
    Building.objects.filter(pk=building.pk, evaluation_due_since=None).update(
        evaluation_due_since=now()
    )


def _find_current_evaluation(
    building: Building, known: EvaluationInput
) -> Evaluation | None:
    latest = Evaluation.objects.filter(building=building).order_by("-pk").first()
    if (
        latest is not None
        and latest.revision_id == known.revision.pk
        and latest.made_with == MADE_WITH
        and latest.input_digest == sha256_of(known.document)
    ):
        return latest
    return None


def _store_evaluation(building: Building, known: EvaluationInput) -> Evaluation:
    evaluation = Evaluation.objects.create(
        building=building,
        revision=known.revision,
        made_with=MADE_WITH,
        input_digest=sha256_of(known.document),
        last_reading=known.last_reading,
        result=evaluate(known.building),
    )
    record_building_evaluated(evaluation)
    return evaluation
