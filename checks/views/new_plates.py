"""New base plates: the section of the finding page, and the drawings to download."""

from dataclasses import dataclass

from django.http import Http404, HttpResponse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from checks.drawings.new_plate import draw_new_plate
from checks.drawings.svg import render_svg
from checks.models import Finding
from checks.queries import review
from checks.reports.plate_sheet import (
    NewPlateSheet,
    find_plate_sheet,
    list_notes,
    write_plate_file,
)
from checks.views.display_units import get_display_units
from core.formatting import DisplayStyle
from core.requests import AuthenticatedRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSection:
    """A new plate as the finding page shows it."""

    sheet: NewPlateSheet
    svg: SafeString
    notes: tuple[str, ...]


def build_plate_view(finding: Finding, units: DisplayStyle) -> PlateSection | None:
    """Build the section of a new plate; None where none is ordered or computed."""
    sheet = find_plate_sheet(finding)
    if sheet is None:
        return None
    drawing = draw_new_plate(sheet.mark, sheet.detail, sheet.remedy)
    return PlateSection(
        sheet=sheet,
        svg=render_svg("new_plate", drawing, units),
        notes=tuple(list_notes(sheet, units)),
    )


@require_GET
def download_plate(request: AuthenticatedRequest, pk: int, kind: str) -> HttpResponse:
    """Download the drawing of a new plate as DXF or SVG."""
    finding = review.get_finding(request.user, pk)
    sheet = None if finding is None else find_plate_sheet(finding)
    if sheet is None:
        raise Http404("No new plate is ordered or computed for this finding.")
    written = write_plate_file(
        sheet, kind, get_display_units(request, sheet.plan.length_unit)
    )
    if written is None:
        raise Http404("A plate is drawn as DXF or SVG.")
    return HttpResponse(
        written.content,
        content_type=written.media_type,
        headers={"Content-Disposition": f'attachment; filename="{written.name}"'},
    )
