"""Withdrawal of readings: kept in the record, out of the arithmetic."""

from django.core.exceptions import ValidationError
from django.db import transaction

from checks.models import Reading, ReadingWithdrawal
from checks.services.errors import ConflictCode, ConflictError
from checks.services.evaluation import evaluate_or_leave_due
from core.models import Person
from core.permissions import Action, require
from jobs.evaluation_due import mark_evaluation_due
from jobs.models import Building

MAX_REASON_LENGTH = 500


def withdraw_reading(
    *, actor: Person, reading: Reading, reason: str
) -> ReadingWithdrawal:
    """Withdraw a reading that does not count, and evaluate the building without it.

    The reading stays in the record. What it replaced stays replaced: measure again.

    Parameters
    ----------
    actor : who withdraws it, and answers for it.
    reading : a current reading.
    reason : why it does not count.

    Raises
    ------
    PermissionDenied
        If this person may not record readings on this job.
    ValidationError
        If the reason is missing, too long, or cannot be stored.
    ConflictError
        If the reading is withdrawn or replaced already.
    """
    require(actor, Action.RECORD_READING, roles=reading.building.roles_of(actor))
    reason = _validate_reason(reason)
    with transaction.atomic():
        building = Building.objects.select_for_update(no_key=True).get(
            pk=reading.building_id
        )
        _require_current(reading)
        withdrawal = ReadingWithdrawal.objects.create(
            reading=reading, reason=reason, withdrawn_by=actor
        )
        mark_evaluation_due(building)
    evaluate_or_leave_due(building)
    return withdrawal


def _validate_reason(reason: str) -> str:
    reason = reason.strip()
    if not reason:
        msg = "Write why this reading does not count."
        raise ValidationError({"reason": msg}, code="required")
    if len(reason) > MAX_REASON_LENGTH or "\0" in reason:
        msg = f"Write at most {MAX_REASON_LENGTH} characters, none of them U+0000."
        raise ValidationError({"reason": msg}, code="reason")
    return reason


def _require_current(reading: Reading) -> None:
    if ReadingWithdrawal.objects.filter(reading=reading).exists():
        msg = "This reading is withdrawn already."
        raise ConflictError(msg, ConflictCode.READING_WITHDRAWN)
    if Reading.objects.filter(supersedes=reading).exists():
        msg = "A later reading replaced this one already; withdraw that one."
        raise ConflictError(msg, ConflictCode.READING_REPLACED)
