"""The walk: one section of it, measured and recorded."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.utils.timezone import now
from django.views.decorators.http import require_http_methods

from checks.evaluation_input import build_plan_document
from checks.forms.reading_rows import (
    LENGTH_UNITS,
    REMEASURE_REASONS,
    STRENGTH_UNITS,
    ReadingRow,
    attach_errors,
    build_entries,
    build_rows,
    fill_rows,
)
from checks.forms.readings import InstrumentForm, ReadingDetailsForm
from checks.queries.walk import (
    Section,
    build_walk,
    choose_section,
    list_next_steps,
    load_section_readings,
)
from checks.services.readings import RecordedReadings, record_readings
from checks.views.display_units import get_display_units
from checks.views.photographs import store_row_photographs
from checks.views.reading_files import VERDICT_FOLLOWS
from checks.views.readings import get_visible_building
from core.formatting import format_count
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from core.units import LengthUnit
from jobs.models import Building

METRIC_UNITS = ("mm", "cm", "m")
PERSON_HEADER = "X-Padstone-Person"
"""Names the person a page was made for: the service worker keeps it for them alone."""


@require_http_methods(["GET", "POST"])
def measure(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show one section of the walk and record its readings.

    Readings that are refused come back in their rows, as typed.
    """
    building = get_visible_building(request, pk)
    sections = build_walk(building)
    key = request.POST.get("section") or request.GET.get("section", "")
    chosen = choose_section(sections, key, request.GET.get("show", ""))
    section = load_section_readings(building, chosen)
    instruments = list(_list_instruments(building))
    if request.method == "POST":
        details = ReadingDetailsForm(request.POST, instruments=instruments)
        return _record_section(request, building, sections, section, details)
    metric = _plan_unit(building) in METRIC_UNITS
    initial = {
        "crew": request.session.get("crew", ""),
        "degree": "degC" if metric else "degF",
    }
    details = ReadingDetailsForm(instruments=instruments, initial=initial)
    rows = build_rows(section)
    return _render_measure(request, building, sections, section, details, rows)


def _record_section(
    request: AuthenticatedRequest,
    building: Building,
    sections: list[Section],
    section: Section,
    details: ReadingDetailsForm,
) -> HttpResponse:
    """Record the rows that are filled in, and the photographs that came with them."""
    rows = fill_rows(section, request.POST)
    if not details.is_valid():
        return _render_measure(request, building, sections, section, details, rows)
    request.session["crew"] = details.cleaned_data["crew"]
    filled, entries = build_entries(rows, request.POST, details.to_members())
    recorded = record_readings(
        actor=request.user, building=building, entries=entries, keep_good=True
    )
    stored = {row.client_id for row in recorded.stored + recorded.repeated}
    photographed, photograph_errors = store_row_photographs(
        request, building, rows, stored
    )
    if not recorded.refused and not photograph_errors:
        _report_recorded(request, recorded, photographed)
        return redirect(f"{request.path}?{urlencode({'section': section.key})}")
    for message in attach_errors(filled, recorded.refused):
        details.add_error(None, message)
    # What was stored has changed the walk.
    sections = build_walk(building)
    section = load_section_readings(building, choose_section(sections, section.key, ""))
    refused = [row for row in filled if row.client_id not in stored]
    rows = _merge_refused_rows(build_rows(section), refused)
    for row in rows:
        row.errors += photograph_errors.get(row.number, [])
    return _render_measure(request, building, sections, section, details, rows)


def _merge_refused_rows(
    rows: list[ReadingRow], refused: list[ReadingRow]
) -> list[ReadingRow]:
    """Return the rows with the refused ones in their places, as typed."""
    by_number = {row.number: row for row in refused}
    for row in rows:
        if old := by_number.get(row.number):
            old.walk_row = row.walk_row
    return [by_number.get(row.number, row) for row in rows]


def _render_measure(
    request: AuthenticatedRequest,
    building: Building,
    sections: list[Section],
    section: Section,
    details: ReadingDetailsForm,
    rows: list[ReadingRow],
) -> HttpResponse:
    refused = bool(details.errors) or any(row.errors for row in rows)
    index = [each.key for each in sections].index(section.key)
    context = {
        "building": building,
        "sections": sections,
        "section": section,
        "next": sections[index + 1] if index + 1 < len(sections) else None,
        "place": index + 1,
        "details": details,
        "rows": rows,
        "left": sum(part.remaining_count for part in sections),
        "again": sum(part.remeasure_count for part in sections),
        "next_steps": list_next_steps(sections),
        "remeasure_reasons": REMEASURE_REASONS,
        "made": now(),
        "setup": request.POST.get("setup", "1"),
        "height": request.POST.get("height", ""),
        "instrument_form": InstrumentForm(),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
        **_build_unit_context(request, _plan_unit(building)),
    }
    status = 400 if refused else 200
    response = render(request, "checks/measure.html", context, status=status)
    response[PERSON_HEADER] = str(request.user.pk)
    return response


def _build_unit_context(
    request: AuthenticatedRequest, plan_unit: LengthUnit
) -> dict[str, Any]:
    """Build what depends on units: the reader's, the plan's and those just chosen."""
    metric = plan_unit in METRIC_UNITS
    default_strength = STRENGTH_UNITS[1 if metric else 0]
    return {
        "keypad_layout": "metric" if metric else "imperial",
        # Nobody reads a tape in centimetres.
        "unit": request.POST.get("unit") or ("mm" if plan_unit == "cm" else plan_unit),
        "units": get_display_units(request, plan_unit),
        "units_of_length": LENGTH_UNITS,
        "units_of_strength": STRENGTH_UNITS,
        "strength_unit": request.POST.get("strength_unit") or default_strength,
    }


def _plan_unit(building: Building) -> LengthUnit:
    unit: LengthUnit = building.current_revision().document.get("length_unit", "in")
    return unit


def _list_instruments(building: Building) -> dict[str, Any]:
    document = build_plan_document(building, building.current_revision())
    instruments: dict[str, Any] = document.get("instruments", {})
    return instruments


def _report_recorded(
    request: AuthenticatedRequest, recorded: RecordedReadings, photographed: int
) -> None:
    counts = ((len(recorded.stored), "reading"), (photographed, "photograph"))
    parts = [format_count(count, noun) for count, noun in counts if count]
    if parts:
        follows = "" if recorded.evaluation or not recorded.stored else VERDICT_FOLLOWS
        messages.success(request, f"{' and '.join(parts)} recorded.{follows}")
    elif recorded.repeated:
        messages.info(request, "These readings were recorded before.")
    else:
        messages.info(request, "Nothing was filled in.")
