"""Changes of a building that no evaluation has seen."""

from django.db import connection
from django.utils.timezone import now

from jobs.models import Building

COUNT_CHANGE = """
    UPDATE jobs_building
    SET change_number = change_number + 1,
        evaluation_due_since = coalesce(evaluation_due_since, %s)
    WHERE id = %s
    RETURNING change_number, evaluation_due_since
"""


def mark_evaluation_due(building: Building) -> None:
    """Count a change that no evaluation has seen, in the caller's transaction.

    The sweep evaluates the oldest first, so an earlier date is kept. The number is
    what tells an evaluation under way that it has not seen this change.
    """
    with connection.cursor() as cursor:
        cursor.execute(COUNT_CHANGE, [now(), building.pk])
        building.change_number, building.evaluation_due_since = cursor.fetchone()
