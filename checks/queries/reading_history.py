"""History of readings: every reading as it was taken, and what replaced it."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.core.paginator import Page, Paginator
from django.db.models import Q

from checks.labels import describe_check_key, describe_circumstances
from checks.models import Photograph, Reading
from jobs.anchor_plan.check_keys import AXES, ROD_KINDS, CheckKey, CheckKind
from jobs.models import Building

READINGS_PER_PAGE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFilter:
    """Filter of the reading history; an empty one lets everything through."""

    check: str = ""
    only_current: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingHistoryRow:
    """A reading with its labels and its corrections.

    Attributes
    ----------
    check_label : str
        The check it is of.
    circumstances : str
        Instrument, temperature, corner, set-up, height.
    replaces, replaced_by : Reading or None
        The other reading of a correction.
    withdrawn : str
        Why it does not count; empty for one that does.
    photographs : tuple of Photograph
        Of the reading; see `attach_photographs`.
    """

    reading: Reading
    check_label: str
    circumstances: str
    note: str
    replaces: Reading | None
    replaced_by: Reading | None
    withdrawn: str = ""
    photographs: tuple[Photograph, ...] = ()


def build_history_rows(readings: Iterable[Reading]) -> list[ReadingHistoryRow]:
    """Build rows of readings loaded with `replaced_by`, `supersedes`, `withdrawal`."""
    return [
        ReadingHistoryRow(
            reading=reading,
            check_label=describe_check_key(reading.check_key),
            circumstances=describe_circumstances(reading.entry),
            note=reading.entry.get("note", ""),
            replaces=reading.supersedes,
            replaced_by=getattr(reading, "replaced_by", None),
            withdrawn=reading.withdrawn or "",
        )
        for reading in readings
    ]


def paginate_readings(
    building: Building, filters: ReadingFilter, page: str | None
) -> Page[Reading]:
    """Return a page of a building's readings, the newest first."""
    readings = Reading.objects.filter(building=building)
    if filters.check:
        readings = readings.filter(check_key__contains=filters.check)
    if filters.only_current:
        readings = readings.current()
    # The document of a plan revision is large and not shown.
    rows = readings.select_related(
        "recorded_by",
        "instrument",
        "supersedes",
        "replaced_by",
        "revision",
        "withdrawal",
    ).defer("revision__document")
    return Paginator(rows.order_by("-pk"), READINGS_PER_PAGE).get_page(page)


def attach_photographs(rows: Iterable[ReadingHistoryRow]) -> list[ReadingHistoryRow]:
    """Attach the photographs of readings to their rows, in one query."""
    rows = list(rows)
    found: dict[int, list[Photograph]] = {}
    of = Photograph.objects.filter(reading__in=[row.reading for row in rows])
    for photograph in of.order_by("pk"):
        assert photograph.reading_id is not None  # noqa: S101 - as filtered
        found.setdefault(photograph.reading_id, []).append(photograph)
    return [
        replace(row, photographs=tuple(found.get(row.reading.pk, ()))) for row in rows
    ]


def match_position(mark: str) -> Q:
    """Return the condition for every check of one position.

    A mark may contain a full stop, so that a prefix match would find too much.
    """
    exact = [
        CheckKey.for_position(CheckKind.LINE, mark),
        CheckKey.for_position(CheckKind.LEVEL, mark),
        *(CheckKey.for_plumb(mark, axis) for axis in AXES),
    ]
    name = re.escape(mark)
    rods = rf"^({'|'.join(sorted(ROD_KINDS))}):{name}\.[0-9]+$"
    pairs = rf"^{CheckKind.GAGE}:{name}\.[0-9]+-[0-9]+$"
    return Q(check_key__in=exact) | Q(check_key__regex=rods) | Q(check_key__regex=pairs)
