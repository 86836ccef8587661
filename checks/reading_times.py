"""When the readings of a building were taken, check by check, in one query."""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, Min, Q

from checks.models import Reading
from checks.recorded_rows import RecordedRow
from jobs.models import Building


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckTimes:
    """Times of the current readings of one check.

    Attributes
    ----------
    oldest, newest : when the first and the last of them were taken.
    recorded : when the last of them was recorded.
    """

    oldest: datetime
    newest: datetime
    recorded: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTimes:
    """Times of a building's readings.

    Attributes
    ----------
    by_check : of every check with a current reading, by key.
    last_taken_at : of the newest reading, superseded ones included.
    """

    by_check: Mapping[str, CheckTimes]
    last_taken_at: datetime | None


def summarise_times(
    rows: Sequence[RecordedRow], withdrawn: Container[int]
) -> ReadingTimes:
    """Summarise when readings that are loaded already were taken and recorded.

    `withdrawn` are the primary keys of those that do not count.
    """
    replaced = {row.supersedes_id for row in rows}
    taken: dict[str, list[datetime]] = {}
    recorded: dict[str, datetime] = {}
    for row in rows:
        if row.pk not in replaced and row.pk not in withdrawn:
            taken.setdefault(row.check_key, []).append(row.taken_at)
            last = recorded.get(row.check_key, row.recorded_at)
            recorded[row.check_key] = max(last, row.recorded_at)
    return ReadingTimes(
        by_check={
            key: CheckTimes(oldest=min(at), newest=max(at), recorded=recorded[key])
            for key, at in taken.items()
        },
        last_taken_at=max((row.taken_at for row in rows), default=None),
    )


def load_reading_times(building: Building) -> ReadingTimes:
    """Load when the readings of a building were taken and recorded."""
    current = Q(replaced_by=None, withdrawal=None)
    rows = list(
        Reading.objects.filter(building=building)
        .order_by()
        .values("check_key")
        .annotate(
            oldest=Min("taken_at", filter=current),
            newest=Max("taken_at", filter=current),
            recorded=Max("recorded_at", filter=current),
            last=Max("taken_at"),
        )
    )
    return ReadingTimes(
        by_check={
            row["check_key"]: CheckTimes(
                oldest=row["oldest"], newest=row["newest"], recorded=row["recorded"]
            )
            for row in rows
            if row["oldest"] is not None
        },
        last_taken_at=max((row["last"] for row in rows), default=None),
    )
