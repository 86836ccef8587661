"""Supplements of evaluations: computed by a worker, or when a release needs one.

Only the latest evaluation of a building gets one: while a crew uploads, a building is
evaluated many times a minute, and nobody reads what lies between.
"""

import logging

from django.db import transaction
from django.db.models import OuterRef, Subquery

from checks.evaluation.result_supplement import compute_supplement
from checks.evaluation.version import MADE_WITH
from checks.evaluation_input import EvaluationInput, load_evaluation_input
from checks.models import Evaluation, EvaluationSupplement
from jobs.models import Building

logger = logging.getLogger(__name__)

MAX_PER_SWEEP = 50
"""Supplements of one sweep: the next sweep goes on."""


def supplement_latest_evaluations() -> int:
    """Supplement the latest evaluation of every building that has none yet.

    One that cannot be computed is logged and tried again; the others go on.

    Returns
    -------
    int : how many were stored.
    """
    stored = 0
    for pk in _list_waiting()[:MAX_PER_SWEEP]:
        try:
            stored += supplement_evaluation(pk) is not None
        except Exception:
            logger.exception("Evaluation %s could not be supplemented.", pk)
    return stored


@transaction.atomic
def supplement_evaluation(evaluation_id: int) -> EvaluationSupplement | None:
    """Compute and store the supplement of an evaluation.

    A call is safe at any time: None where there is one already, where another worker
    is computing it, or where the building has changed since.
    """
    evaluation = (
        Evaluation.objects.select_for_update(skip_locked=True, of=("self",))
        .filter(pk=evaluation_id, supplement=None, made_with=MADE_WITH)
        .select_related("building")
        .first()
    )
    if evaluation is None:
        return None
    evaluation_input = load_evaluation_input(evaluation.building)
    if evaluation_input.digest != evaluation.input_digest:
        return None
    return _store_supplement(evaluation, evaluation_input)


@transaction.atomic
def ensure_supplement(evaluation: Evaluation) -> EvaluationSupplement | None:
    """Return the supplement of an evaluation, computed now if no worker has yet.

    A release freezes it with the record, so it cannot wait for a worker. None where
    the building has changed since; then nothing can be signed anyway.
    """
    supplement = EvaluationSupplement.objects.filter(evaluation=evaluation).first()
    if supplement is None:
        evaluation_input = load_evaluation_input(evaluation.building)
        if evaluation_input.digest != evaluation.input_digest:
            return None
        supplement = _store_supplement(evaluation, evaluation_input)
    evaluation.supplement = supplement
    return supplement


def _store_supplement(
    evaluation: Evaluation, evaluation_input: EvaluationInput
) -> EvaluationSupplement:
    """Compute and store a supplement; of two computed at once the first stays."""
    members = (
        compute_supplement(evaluation_input.building, evaluation.input_digest)
        if evaluation.result.get("fit_up")
        else {}
    )
    supplement, _ = EvaluationSupplement.objects.get_or_create(
        evaluation=evaluation, defaults={"members": members}
    )
    return supplement


def _list_waiting() -> list[int]:
    """List the latest evaluations without a supplement, the oldest first."""
    latest = Evaluation.objects.filter(building=OuterRef("pk")).order_by("-pk")
    buildings = Building.objects.filter(evaluation_due_since=None).annotate(
        latest=Subquery(latest.values("pk")[:1])
    )
    return list(
        Evaluation.objects.filter(
            pk__in=buildings.values("latest"), supplement=None, made_with=MADE_WITH
        )
        .order_by("pk")
        .values_list("pk", flat=True)
    )
