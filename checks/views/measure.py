"""The walk as it is measured: one section of it, typed and recorded."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.utils.timezone import now
from django.views.decorators.http import require_http_methods

from checks.adapters import plan_document
from checks.entering import (
    LENGTH_UNITS,
    STRENGTH_UNITS,
    WHY_AGAIN,
    Line,
    blank_lines,
    entries_of,
    put_errors,
    typed_lines,
)
from checks.forms.readings import CommonForm, InstrumentForm
from checks.queries.walk import Section, suggest, walk
from checks.services.readings import Recorded, record_readings
from checks.views.photographs import take_photographs
from checks.views.readings import seen_building
from checks.views.units import units_for
from core.permissions import Action, may
from core.requests import PersonRequest
from core.units import LengthUnit
from jobs.models import Building

METRIC = ("mm", "cm", "m")
PERSON_HEADER = "X-Padstone-Person"
"""Whose page this is: the browser keeps it for nobody else."""


@require_http_methods(["GET", "POST"])
def measure(request: PersonRequest, pk: int) -> HttpResponse:
    """Measure one section of the walk; what was typed comes back where refused."""
    building = seen_building(request, pk)
    sections = walk(building)
    asked = request.POST.get("section") or request.GET.get("section", "")
    section = suggest(sections, asked, request.GET.get("show", ""))
    tools = list(_instruments(building))
    if request.method == "GET":
        degree = "degC" if _plan_unit(building) in METRIC else "degF"
        start = {"crew": request.session.get("crew", ""), "degree": degree}
        common = CommonForm(instruments=tools, initial=start)
        lines = blank_lines(section)
        return _measure(request, building, sections, section, common, lines)
    common = CommonForm(request.POST, instruments=tools)
    lines = typed_lines(section, request.POST)
    if not common.is_valid():
        return _measure(request, building, sections, section, common, lines)
    request.session["crew"] = common.cleaned_data["crew"]
    filled, entries = entries_of(lines, request.POST, common.shared())
    recorded = record_readings(
        actor=request.user, building=building, entries=entries, keep_good=True
    )
    stored = {row.client_id for row in recorded.stored + recorded.repeated}
    photographed, trouble = take_photographs(request, building, lines, stored)
    if not recorded.refused and not trouble:
        _tell(request, recorded, photographed)
        return redirect(f"{request.path}?{urlencode({'section': section.key})}")
    for message in put_errors(filled, recorded.refused):
        common.add_error(None, message)
    fresh = walk(building)
    section = suggest(fresh, section.key, "")
    kept = [line for line in filled if line.client_id not in stored]
    lines = _with(blank_lines(section), kept)
    for line in lines:
        line.errors += trouble.get(line.number, [])
    return _measure(request, building, fresh, section, common, lines)


def _with(lines: list[Line], kept: list[Line]) -> list[Line]:
    """Put what was refused back on its lines, as it was typed."""
    by_number = {line.number: line for line in kept}
    for line in lines:
        if old := by_number.get(line.number):
            old.row = line.row
    return [by_number.get(line.number, line) for line in lines]


def _measure(
    request: PersonRequest,
    building: Building,
    sections: list[Section],
    section: Section,
    common: CommonForm,
    lines: list[Line],
) -> HttpResponse:
    refused = bool(common.errors) or any(line.errors for line in lines)
    place = sections.index(section)
    plan_unit = _plan_unit(building)
    metric = plan_unit in METRIC
    context = {
        "building": building,
        "sections": sections,
        "section": section,
        "next": sections[place + 1] if place + 1 < len(sections) else None,
        "common": common,
        "lines": lines,
        "place": place + 1,
        "left": sum(part.left for part in sections),
        "again": sum(part.again for part in sections),
        "why_again": WHY_AGAIN,
        "made": now(),
        "metric": metric,
        "unit": request.POST.get("unit") or ("mm" if plan_unit == "cm" else plan_unit),
        "units": units_for(request, plan_unit),
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


def _instruments(building: Building) -> dict[str, Any]:
    document = plan_document(building, building.current_revision())
    found: dict[str, Any] = document.get("instruments", {})
    return found


def _tell(request: PersonRequest, recorded: Recorded, photographed: int) -> None:
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
