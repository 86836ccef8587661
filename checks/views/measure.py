"""The walk as it is measured: one section of it, typed and recorded."""

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
from checks.queries.walk import Section, build_walk, choose_section
from checks.services.readings import RecordedReadings, record_readings
from checks.views.display_units import get_display_units
from checks.views.photographs import store_row_photographs
from checks.views.readings import get_visible_building
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from core.units import LengthUnit
from jobs.models import Building

METRIC_UNITS = ("mm", "cm", "m")
PERSON_HEADER = "X-Padstone-Person"
"""Whose page this is: the browser keeps it for nobody else."""


@require_http_methods(["GET", "POST"])
def measure(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Measure one section of the walk; what was typed comes back where refused."""
    building = get_visible_building(request, pk)
    sections = build_walk(building)
    asked = request.POST.get("section") or request.GET.get("section", "")
    section = choose_section(sections, asked, request.GET.get("show", ""))
    tools = list(_list_instruments(building))
    if request.method == "GET":
        degree = "degC" if _plan_unit(building) in METRIC_UNITS else "degF"
        start = {"crew": request.session.get("crew", ""), "degree": degree}
        common = ReadingDetailsForm(instruments=tools, initial=start)
        lines = build_rows(section)
        return _render_measure(request, building, sections, section, common, lines)
    common = ReadingDetailsForm(request.POST, instruments=tools)
    lines = fill_rows(section, request.POST)
    if not common.is_valid():
        return _render_measure(request, building, sections, section, common, lines)
    request.session["crew"] = common.cleaned_data["crew"]
    filled, entries = build_entries(lines, request.POST, common.to_members())
    recorded = record_readings(
        actor=request.user, building=building, entries=entries, keep_good=True
    )
    stored = {row.client_id for row in recorded.stored + recorded.repeated}
    photographed, trouble = store_row_photographs(request, building, lines, stored)
    if not recorded.refused and not trouble:
        _report_recorded(request, recorded, photographed)
        return redirect(f"{request.path}?{urlencode({'section': section.key})}")
    for message in attach_errors(filled, recorded.refused):
        common.add_error(None, message)
    fresh = build_walk(building)
    section = choose_section(fresh, section.key, "")
    kept = [line for line in filled if line.client_id not in stored]
    lines = _merge_refused_rows(build_rows(section), kept)
    for line in lines:
        line.errors += trouble.get(line.number, [])
    return _render_measure(request, building, fresh, section, common, lines)


def _merge_refused_rows(
    lines: list[ReadingRow], kept: list[ReadingRow]
) -> list[ReadingRow]:
    """Put what was refused back on its lines, as it was typed."""
    by_number = {line.number: line for line in kept}
    for line in lines:
        if old := by_number.get(line.number):
            old.walk_row = line.walk_row
    return [by_number.get(line.number, line) for line in lines]


def _render_measure(
    request: AuthenticatedRequest,
    building: Building,
    sections: list[Section],
    section: Section,
    common: ReadingDetailsForm,
    lines: list[ReadingRow],
) -> HttpResponse:
    refused = bool(common.errors) or any(line.errors for line in lines)
    place = sections.index(section)
    plan_unit = _plan_unit(building)
    metric = plan_unit in METRIC_UNITS
    context = {
        "building": building,
        "sections": sections,
        "section": section,
        "next": sections[place + 1] if place + 1 < len(sections) else None,
        "common": common,
        "lines": lines,
        "place": place + 1,
        "left": sum(part.remaining_count for part in sections),
        "again": sum(part.remeasure_count for part in sections),
        "why_again": REMEASURE_REASONS,
        "made": now(),
        "metric": metric,
        "unit": request.POST.get("unit") or ("mm" if plan_unit == "cm" else plan_unit),
        "units": get_display_units(request, plan_unit),
        "units_of_length": LENGTH_UNITS,
        "units_of_strength": STRENGTH_UNITS,
        "strength_unit": request.POST.get("strength_unit")
        or STRENGTH_UNITS[1 if metric else 0],
        "setup": request.POST.get("setup", "1"),
        "height": request.POST.get("height", ""),
        "instrument_form": InstrumentForm(),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    status = 400 if refused else 200
    answer = render(request, "checks/measure.html", context, status=status)
    answer[PERSON_HEADER] = str(request.user.pk)
    return answer


def _plan_unit(building: Building) -> LengthUnit:
    unit: LengthUnit = building.current_revision().document.get("length_unit", "in")
    return unit


def _list_instruments(building: Building) -> dict[str, Any]:
    document = build_plan_document(building, building.current_revision())
    found: dict[str, Any] = document.get("instruments", {})
    return found


def _report_recorded(
    request: AuthenticatedRequest, recorded: RecordedReadings, photographed: int
) -> None:
    counts = ((len(recorded.stored), "reading"), (photographed, "photograph"))
    told = [
        f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts if count
    ]
    if told:
        messages.success(request, f"{' and '.join(told)} recorded.")
    elif recorded.repeated:
        messages.info(request, "These readings were recorded already.")
    else:
        messages.info(request, "Nothing was filled in.")
