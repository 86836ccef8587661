"""Background work: each task calls one service and survives being run twice."""

from celery import shared_task

from checks.services import decision_reminders, evaluation


@shared_task(ignore_result=True)
def evaluate_building(building_id: int) -> None:
    """Evaluate one building; queue it with `delay_on_commit`."""
    evaluation.evaluate_building(building_id)


@shared_task(ignore_result=True)
def evaluate_due_buildings() -> None:
    """Sweep up the buildings whose readings no evaluation has seen."""
    evaluation.evaluate_due_buildings()


@shared_task(ignore_result=True)
def send_decision_reminders() -> None:
    """Write to engineers whose decision is waited for."""
    decision_reminders.send_decision_reminders()
