"""Background work: each task calls one service and survives being run twice."""

from celery import shared_task

from checks.services import evaluation, waiting


@shared_task(ignore_result=True)
def evaluate_building(building_id: int) -> None:
    """Evaluate one building; queue it with `delay_on_commit`."""
    evaluation.evaluate_building(building_id)


@shared_task(ignore_result=True)
def evaluate_due() -> None:
    """Sweep up the buildings whose readings no evaluation has seen."""
    evaluation.evaluate_due()


@shared_task(ignore_result=True)
def tell_of_findings() -> None:
    """Write to engineers whose decision is waited for."""
    waiting.tell_of_findings()
