"""Storing of evaluations: each with digest and summary, few with their result."""

from collections import Counter

from django.db.models import Exists, OuterRef

from checks.evaluation.version import MADE_WITH
from checks.evaluation_input import EvaluationInput
from checks.models import Decision, Evaluation, Finding
from checks.services.outbox import record_building_evaluated
from jobs.exchange.result.document import ResultDocument
from jobs.models import Building


def store_evaluation(
    building: Building, evaluation_input: EvaluationInput, result: ResultDocument
) -> Evaluation:
    """Store an evaluation with its result; the building is locked."""
    evaluation = Evaluation.objects.create(
        building=building,
        revision=evaluation_input.revision,
        made_with=MADE_WITH,
        input_digest=evaluation_input.digest,
        last_reading_id=evaluation_input.last_reading_id,
        result=result,
        summary={
            "verdicts": dict(Counter(row["verdict"] for row in result["checks"])),
            "findings": len(result["findings"]),
        },
    )
    record_building_evaluated(evaluation)
    return evaluation


def drop_replaced_results(latest: Evaluation) -> None:
    """Drop the results that the latest evaluation of a revision replaces.

    Those that a finding or a decision refers to are kept, and so are digest and summary
    of each. Nothing is lost: readings and plans are kept, and the program computes a
    result again from them.
    """
    replaced = Evaluation.objects.filter(
        building=latest.building_id,
        revision=latest.revision_id,
        pk__lt=latest.pk,
        result__isnull=False,
    )
    for model in (Finding, Decision):
        named = model.objects.filter(evaluation=OuterRef("pk")).order_by()
        replaced = replaced.filter(~Exists(named))
    # One that a worker is supplementing is left to the next evaluation: a reading does
    # not wait for that.
    free = replaced.order_by("pk").select_for_update(skip_locked=True, no_key=True)
    Evaluation.objects.filter(pk__in=free.values("pk")).update(result=None)
