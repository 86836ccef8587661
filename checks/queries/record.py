"""Every reading of a building, as it was taken."""

from dataclasses import dataclass

from django.core.paginator import Page, Paginator

from checks.models import Reading
from jobs.models import Building

READINGS_A_PAGE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFilter:
    """What of the record is asked for; empty means all."""

    check: str = ""
    standing: bool = False


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
