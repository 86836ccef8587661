"""Background jobs: each task calls one service, and may run twice."""

from celery import shared_task

from checks.services import decision_reminders, evaluation, result_supplements


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def evaluate_building(building_id: int) -> None:
    """Evaluate one building; queue it with `delay_on_commit`."""
    evaluation.evaluate_building(building_id)


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def evaluate_due_buildings() -> None:
    """Evaluate the buildings with changes that no evaluation has seen."""
    evaluation.evaluate_due_buildings()


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def supplement_latest_evaluations() -> None:
    """Compute what the latest evaluations still lack, such as a probability."""
    result_supplements.supplement_latest_evaluations()


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def send_decision_reminders() -> None:
    """Send engineers the findings that need their decision."""
    decision_reminders.send_decision_reminders()
