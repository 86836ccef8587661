"""The concrete data of a building: temperatures, tests, samples and forecasts."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods

from checks.forms.concrete import ENTRY_FORMS, TemperatureForm
from checks.queries.concrete_history import (
    build_history_rows,
    get_form_initial,
    has_temperature,
    list_unused_entries,
    paginate_entries,
)
from checks.queries.strength_status import get_strength_status
from checks.services.concrete import record_concrete
from checks.services.readings import record_readings
from checks.views.readings import get_visible_building
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs.exchange.issues import DocumentIssue
from jobs.models import Building

METRIC_UNITS = ("mm", "cm", "m")
SAMPLE_KIND = "sample"
ENTRY_LABELS = {
    "temperature": "Temperature",
    SAMPLE_KIND: "Field-cured sample",
    "standard_cured": "Standard-cured test",
    "placing": "Day of placing",
    "expected": "Expected temperatures",
    "mixture": "Mixture cylinders",
}


@require_http_methods(["GET", "POST"])
def concrete(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the concrete data of a building and record new entries."""
    building = get_visible_building(request, pk)
    query = request.POST if request.method == "POST" else request.GET
    initial = get_form_initial(building, query.get("supersedes", ""))
    kind = initial.get("kind") or query.get("add", "")
    if kind not in ENTRY_FORMS:
        kind = next(iter(ENTRY_FORMS))
    if request.method == "GET":
        form = _build_form(
            building, kind, initial, initial=_default_units(building) | initial
        )
        return _render_page(request, building, kind, form, initial)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    form = _build_form(building, kind, initial, data=request.POST)
    if form.is_valid():
        issues = _record_entry(request, building, kind, form.to_entry())
        if not issues:
            messages.success(request, f"{ENTRY_LABELS[kind]} recorded.")
            return redirect(f"{request.path}?{urlencode({'add': kind})}")
        form.add_issues(issues)
    return _render_page(request, building, kind, form, initial)


def _build_form(
    building: Building, kind: str, replaced: dict[str, Any], **form_arguments: Any
) -> Any:
    """Build the form; the first temperature needs the age of the concrete."""
    form = ENTRY_FORMS[kind](**form_arguments)
    if isinstance(form, TemperatureForm) and (
        "hours" in replaced or not has_temperature(building)
    ):
        form.require_age()
    return form


def _record_entry(
    request: AuthenticatedRequest, building: Building, kind: str, entry: dict[str, Any]
) -> list[DocumentIssue]:
    """Record an entry; return why it was refused.

    A field-cured sample is a reading: it decides about the strength gate.
    """
    record = record_readings if kind == SAMPLE_KIND else record_concrete
    return record(actor=request.user, building=building, entries=[entry]).refused


def _default_units(building: Building) -> dict[str, str]:
    """Return the units of temperature and strength that go with the plan's lengths."""
    unit = building.current_revision().document.get("length_unit")
    metric = unit in METRIC_UNITS
    return {
        "degree": "degC" if metric else "degF",
        "pressure": "MPa" if metric else "psi",
    }


def _render_page(
    request: AuthenticatedRequest,
    building: Building,
    kind: str,
    form: Any,
    replaced: dict[str, Any],
) -> HttpResponse:
    replaced_text = replaced.get("text", "")
    page = paginate_entries(building, request.GET.get("page"))
    context = {
        "building": building,
        "kind": kind,
        "entry_kinds": ENTRY_LABELS,
        "form": form,
        "form_heading": f"Replace {replaced_text}"
        if replaced_text
        else ENTRY_LABELS[kind],
        "replacing": replaced_text,
        "page": page,
        "rows": build_history_rows(page.object_list),
        "incomplete": list_unused_entries(building, building.current_revision()),
        "strength": get_strength_status(building),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    status = 400 if form.errors else 200
    return render(request, "checks/concrete.html", context, status=status)
