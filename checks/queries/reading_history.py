"""Every reading of a building, as it was taken."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.core.paginator import Page, Paginator
from django.db.models import Q

from checks.labels import describe_check_key, describe_circumstances
from checks.models import Photograph, Reading
from jobs.models import Building

READINGS_PER_PAGE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFilter:
    """What of the record is asked for; empty means all."""

    check: str = ""
    only_current: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingHistoryRow:
    """A reading with what a page says beside it.

    Attributes
    ----------
    said : what was read, in words.
    circumstances : instrument, temperature, corner, set-up, height.
    replaces, replaced_by : the other end of a correction, None where there is none.
    photographs : of the reading, where they were fetched with it.
    """

    reading: Reading
    check_label: str
    circumstances: str
    note: str
    replaces: Reading | None
    replaced_by: Reading | None
    photographs: tuple[Photograph, ...] = ()


def build_history_rows(readings: Iterable[Reading]) -> list[ReadingHistoryRow]:
    """Prepare readings for a page; `replaced_by` is to be selected with them."""
    return [
        ReadingHistoryRow(
            reading=reading,
            check_label=describe_check_key(reading.check_key),
            circumstances=describe_circumstances(reading.entry),
            note=reading.entry.get("note", ""),
            replaces=reading.supersedes,
            replaced_by=getattr(reading, "replaced_by", None),
        )
        for reading in readings
    ]


def paginate_readings(
    building: Building, filters: ReadingFilter, page: str | None
) -> Page[Reading]:
    """Every reading of a building, the newest first, with who and what replaced it."""
    readings = Reading.objects.filter(building=building)
    if filters.check:
        readings = readings.filter(check_key__contains=filters.check)
    if filters.only_current:
        readings = readings.current()
    rows = readings.select_related(
        "recorded_by", "instrument", "supersedes", "replaced_by", "revision"
    ).defer("revision__document")
    return Paginator(rows.order_by("-pk"), READINGS_PER_PAGE).get_page(page)


def attach_photographs(rows: Iterable[ReadingHistoryRow]) -> list[ReadingHistoryRow]:
    """Put the photographs of readings beside them, in one query."""
    rows = list(rows)
    found: dict[int, list[Photograph]] = {}
    of = Photograph.objects.filter(reading__in=[row.reading for row in rows])
    for photograph in of.order_by("pk"):
        assert photograph.reading_id is not None  # noqa: S101  # as asked for
        found.setdefault(photograph.reading_id, []).append(photograph)
    return [
        replace(row, photographs=tuple(found.get(row.reading.pk, ()))) for row in rows
    ]


def match_position(mark: str) -> Q:
    """Match every check of one position; a mark may itself have a full stop."""
    exact = [f"line:{mark}", f"level:{mark}", f"plumb:{mark}.in", f"plumb:{mark}.along"]
    name = re.escape(mark)
    rods = rf"^(setback|offset|projection):{name}\.[0-9]+$"
    pairs = rf"^gage:{name}\.[0-9]+-[0-9]+$"
    return Q(check_key__in=exact) | Q(check_key__regex=rods) | Q(check_key__regex=pairs)
