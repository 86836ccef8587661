"""The readings of a building as stored, and as values on its plan, kept per process.

Readings are append-only, and those of one building are stored one batch after the
other, under its lock. What was loaded once is therefore still true: only newer rows are
asked for, with the number of the others as a check. What was parsed on a plan is kept
with the plan's digest. Withdrawals may come at any time and are asked for each time.
"""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from threading import Lock
from typing import Any, NamedTuple

from django.db import connection

from checks.models import Reading, ReadingWithdrawal
from jobs.anchor_plan.values import ReadingValue

MAX_KEPT_ROWS = 20_000
"""Rows kept by one process, of all buildings: some 50 MB."""


class RecordedRow(NamedTuple):
    """The columns of a stored reading that an evaluation needs."""

    pk: int
    client_id: str
    check_key: str
    entry: dict[str, Any]
    digest: str
    revision_id: int
    supersedes_id: int | None
    taken_at: datetime
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class ParsedRow:
    """A reading on one plan.

    Attributes
    ----------
    withdrawn : why it does not count; None for one that was not withdrawn.
    entry : as it stands in the exchange document.
    digest : SHA-256 of the entry.
    value : None for a reading that does not hold on the plan.
    """

    withdrawn: str | None
    entry: dict[str, Any]
    digest: str
    value: ReadingValue | None


@dataclass(slots=True)
class BuildingRows:
    """A building's rows in the order of recording, and those parsed so far.

    `parsed` belongs to the plan of `plan_digest`, by the row's primary key.
    """

    rows: tuple[RecordedRow, ...] = ()
    plan_digest: str = ""
    parsed: Mapping[int, ParsedRow] = field(default_factory=dict)


_kept: OrderedDict[tuple[str, int], BuildingRows] = OrderedDict()
_lock = Lock()


def load_rows(building_id: int) -> BuildingRows:
    """Load a building's readings: those that this process has not seen, and the rest.

    The value returned is the caller's own; `keep_parsed` keeps it.
    """
    key = connection.settings_dict["NAME"], building_id
    with _lock:
        kept = _kept.get(key, BuildingRows())
    stored = Reading.objects.filter(building=building_id)
    if kept.rows:
        last = kept.rows[-1].pk
        known = stored.filter(pk__lte=last).count()
        # Fewer where a transaction was rolled back after it had been read.
        if known != len(kept.rows):
            kept = BuildingRows()
    if kept.rows:
        stored = stored.filter(pk__gt=kept.rows[-1].pk)
    new = stored.order_by("pk").values_list(*RecordedRow._fields)
    rows = kept.rows + tuple(map(RecordedRow._make, new))
    return BuildingRows(rows, kept.plan_digest, kept.parsed)


def keep_rows(building_id: int, rows: BuildingRows) -> None:
    """Keep what was loaded and parsed for the next evaluation of this process."""
    key = connection.settings_dict["NAME"], building_id
    with _lock:
        _kept[key] = rows
        _kept.move_to_end(key)
        total = _count_rows()
        while total > MAX_KEPT_ROWS and _kept:
            _, dropped = _kept.popitem(last=False)
            total -= len(dropped.rows)


def forget_rows() -> None:
    """Forget every building's readings, as a new process does."""
    with _lock:
        _kept.clear()


def count_kept_rows() -> int:
    """Count the readings that this process keeps."""
    with _lock:
        return _count_rows()


def _count_rows() -> int:
    return sum(len(each.rows) for each in _kept.values())


def load_withdrawals(building_id: int) -> dict[int, str]:
    """Load why readings of a building do not count, by the row's primary key."""
    rows = ReadingWithdrawal.objects.filter(reading__building=building_id).order_by()
    return dict(rows.values_list("reading", "reason"))
