"""The drawn pages: a building's plan, its positions, levels and shims."""

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.profile import draw_profiles
from checks.drawings.svg import render_svg
from checks.evaluation_input import build_building_document
from checks.queries.building_tables import build_building_tables, list_first_checks
from checks.queries.check_calculation import load_check_page
from checks.queries.evaluated_plan import EvaluatedPlan, get_evaluated_plan
from checks.queries.photographs import list_position_photographs
from checks.queries.position_tables import (
    build_pad_rows,
    build_position_tables,
    build_shim_tables,
)
from checks.views.display_units import get_display_units
from checks.views.view_log import Kind, log_view
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from jobs.plans.plan_drawing import draw_plan

MAX_EXAGGERATION = 10_000.0


@require_GET
def building(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show a building's plan as built, and what is open on it."""
    page = _build_context(request, pk)
    found: EvaluatedPlan = page["drawn"]
    log_view(request, found.building, Kind.BUILDING, pk)
    if found.result is None:
        page["drawing"] = draw_plan(found.plan)
        page["first_checks"] = list_first_checks(found.plan)
        return render(request, "checks/building_unmeasured.html", page)
    drawing = draw_outline(
        found.plan,
        found.result,
        exaggerate=_parse_exaggeration(request),
        href=_position_links(pk),
        units=page["units"],
    )
    page["plan_svg"] = render_svg("outline", drawing, page["units"])
    page["factor"] = drawing.factor
    return render(
        request,
        "checks/building.html",
        page | build_building_tables(found),
    )


@require_GET
def position(request: AuthenticatedRequest, pk: int, mark: str) -> HttpResponse:
    """Show one position: its rods, its plate, and what may be done about it."""
    page = _build_context(request, pk)
    found: EvaluatedPlan = page["drawn"]
    place = next((p for p in found.plan.positions if p.mark == mark), None)
    if place is None:
        msg = f"There is no position {mark} on this plan."
        raise Http404(msg)
    drawing = draw_pattern(found.plan, mark, found.result, units=page["units"])
    page["place"] = place
    page["pattern_svg"] = render_svg("pattern", drawing, page["units"])
    page |= build_position_tables(found, place)
    page["photographs"] = list_position_photographs(found.building, mark)
    return render(request, "checks/position.html", page)


@require_GET
def check(request: AuthenticatedRequest, pk: int, key: str) -> HttpResponse:
    """Show one check worked out, from its readings to its verdict."""
    page = _build_context(request, pk)
    shown = None if "\0" in key else load_check_page(page["drawn"], key)
    if shown is None:
        msg = f"The plan in force has no check {key}."
        raise Http404(msg)
    return render(request, "checks/check.html", page | {"shown": shown})


@require_GET
def levels(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the pads' levels as a profile along each wall."""
    page = _build_context(request, pk)
    found: EvaluatedPlan = page["drawn"]
    drawings = draw_profiles(
        found.plan, found.result, href=_position_links(pk), units=page["units"]
    )
    page |= {
        "profiles": [
            render_svg("profile", drawing, page["units"]) for drawing in drawings
        ],
        "pads": build_pad_rows(found.plan, found.results),
        "levels": found.levels,
    }
    return render(request, "checks/levels.html", page)


@require_GET
def shims(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show where shims go and what to order."""
    page = _build_context(request, pk)
    found: EvaluatedPlan = page["drawn"]
    tables = build_shim_tables(found)
    page |= {
        "pads": tables.pads,
        "shimmed": tables.shimmed,
        "referred": tables.referred,
        "unmeasured": tables.unmeasured,
        "levels": found.levels,
    }
    return render(request, "checks/shims.html", page)


@require_GET
def download_document(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Hand out the building's exchange document, with its readings."""
    found = _get_drawn_building(request, pk)
    return _json_download(build_building_document(found.building), found, "building")


@require_GET
def download_result(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Hand out the latest result document."""
    found = _get_drawn_building(request, pk)
    if found.evaluation is None:
        raise Http404("Nothing has been evaluated on this plan yet.")
    return _json_download(found.evaluation.result, found, "result")


def _get_drawn_building(request: AuthenticatedRequest, pk: int) -> EvaluatedPlan:
    found = get_evaluated_plan(request.user, pk)
    if found is None:
        raise Http404("There is no such building among your jobs.")
    return found


def _build_context(request: AuthenticatedRequest, pk: int) -> dict[str, Any]:
    """What every drawn page shows around its drawing."""
    found = _get_drawn_building(request, pk)
    roles = found.building.roles_of(request.user)
    return {
        "drawn": found,
        "building": found.building,
        "plan": found.plan,
        "judged": found.results,
        "units": get_display_units(request, found.plan.length_unit),
        "may_record": may(Action.RECORD_READING, roles),
        "may_draw": may(Action.EDIT_PLAN, roles),
    }


def _parse_exaggeration(request: AuthenticatedRequest) -> float | None:
    """The factor asked for; anything else leaves the choice to the drawing."""
    try:
        factor = float(request.GET.get("exaggerate", ""))
    except ValueError:
        return None
    return factor if 1.0 <= factor <= MAX_EXAGGERATION else None


def _position_links(pk: int) -> Callable[[str], str]:
    return lambda mark: reverse("checks:position", args=[pk, mark])


def _json_download(document: Any, found: EvaluatedPlan, suffix: str) -> JsonResponse:
    name = slugify(found.building.name) or "building"
    return JsonResponse(
        document,
        json_dumps_params={"indent": 2, "ensure_ascii": False},
        headers={"Content-Disposition": f'attachment; filename="{name}.{suffix}.json"'},
    )
