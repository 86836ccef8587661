"""Every reading of a building, as it was taken."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.paginator import Page, Paginator

from checks.models import Reading
from checks.wording import circumstances_of
from jobs.models import Building

READINGS_A_PAGE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFilter:
    """What of the record is asked for; empty means all."""

    check: str = ""
    standing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A reading with what a page says beside it.

    Attributes
    ----------
    circumstances : instrument, temperature, corner, set-up, height.
    replaces, replaced_by : the other end of a correction, None where there is none.
    """

    reading: Reading
    circumstances: str
    note: str
    replaces: Reading | None
    replaced_by: Reading | None


def taken(readings: Iterable[Reading]) -> list[Taken]:
    """Prepare readings for a page; `replaced_by` is to be selected with them."""
    return [
        Taken(
            reading=reading,
            circumstances=circumstances_of(reading.entry),
            note=reading.entry.get("note", ""),
            replaces=reading.supersedes,
            replaced_by=getattr(reading, "replaced_by", None),
        )
        for reading in readings
    ]


def record(building: Building, wanted: RecordFilter, page: str | None) -> Page[Reading]:
    """Every reading of a building, the newest first, with who and what replaced it."""
    readings = Reading.objects.filter(building=building)
    if wanted.check:
        readings = readings.filter(check_key__contains=wanted.check)
    if wanted.standing:
        readings = readings.standing()
    rows = readings.select_related(
        "recorded_by", "instrument", "supersedes", "replaced_by", "revision"
    ).defer("revision__document")
    return Paginator(rows.order_by("-pk"), READINGS_A_PAGE).get_page(page)
