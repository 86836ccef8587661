"""Background jobs: each task calls one service, and may run twice.

A task imports its service when it first runs: a worker is ready, and the scheduler
runs, without the arithmetic.
"""

from collections.abc import Sequence
from typing import Any

from celery import shared_task

# A killed worker's message goes to another one.
REDELIVERED_TASK_OPTIONS: dict[str, Any] = {
    "ignore_result": True,
    "acks_late": True,
    "reject_on_worker_lost": True,
}


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def evaluate_building(building_id: int) -> None:
    """Evaluate one building; queue it with `delay_on_commit`."""
    from checks.services import evaluation

    evaluation.evaluate_building(building_id)


@shared_task(**REDELIVERED_TASK_OPTIONS)  # type: ignore[untyped-decorator]
def evaluate_changes(building_id: int, change: int) -> None:
    """Evaluate a building unless an evaluation has seen this change."""
    from checks.services import evaluation

    evaluation.evaluate_changes(building_id, change)


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def evaluate_due_buildings() -> None:
    """Evaluate the buildings with changes that no evaluation has seen."""
    from checks.services import evaluation

    evaluation.evaluate_due_buildings()


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def supplement_latest_evaluations() -> None:
    """Compute what the latest evaluations still lack, such as a probability."""
    from checks.services import result_supplements

    result_supplements.supplement_latest_evaluations()


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def send_decision_reminders() -> None:
    """Send engineers the findings that need their decision."""
    from checks.services import decision_reminders

    decision_reminders.send_decision_reminders()


@shared_task(**REDELIVERED_TASK_OPTIONS)  # type: ignore[untyped-decorator]
def queue_reevaluation(run_id: int) -> None:
    """Send the waiting buildings of a run to the workers in batches."""
    from checks.services import reevaluation

    for building_ids in reevaluation.prepare_batches(run_id):
        reevaluate_buildings.delay(run_id, building_ids)


@shared_task(**REDELIVERED_TASK_OPTIONS)  # type: ignore[untyped-decorator]
def reevaluate_buildings(run_id: int, building_ids: Sequence[int]) -> None:
    """Evaluate a batch of a run again."""
    from checks.services import reevaluation

    reevaluation.reevaluate_buildings(run_id, building_ids)


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def resume_stalled_reevaluations() -> None:
    """Queue the runs again that made no progress for a while."""
    from checks.services import reevaluation

    for run_id in reevaluation.list_stalled_reevaluations():
        queue_reevaluation.delay(run_id)
