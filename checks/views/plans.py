"""The drawn pages: a building's plan, its positions, levels and shims."""

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.adapters import building_document
from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.profile import profile_drawings
from checks.drawings.svg import svg
from checks.queries import plans
from checks.queries.photographs import of_position
from checks.queries.plans import Drawn
from checks.queries.worked import check_shown
from checks.views.seeing import Kind, saw
from checks.views.units import units_for
from core.permissions import Action, may
from core.requests import PersonRequest
from jobs.drawing import plan_drawing

MOST_EXAGGERATED = 10_000.0


@require_GET
def building(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a building's plan as built, and what is open on it."""
    page = _page(request, pk)
    found: Drawn = page["drawn"]
    saw(request, found.building, Kind.BUILDING, pk)
    if found.result is None:
        page["drawing"] = plan_drawing(found.plan)
        page["first_checks"] = plans.first_checks(found.plan)
        return render(request, "checks/unmeasured.html", page)
    drawing = outline_drawing(
        found.plan,
        found.result,
        exaggerate=_exaggerate(request),
        href=_positions_of(pk),
        units=page["units"],
    )
    page["plan_svg"] = svg("outline", drawing, page["units"])
    page["factor"] = drawing.factor
    return render(request, "checks/building.html", page | plans.building_tables(found))


@require_GET
def position(request: PersonRequest, pk: int, mark: str) -> HttpResponse:
    """Show one position: its rods, its plate, and what may be done about it."""
    page = _page(request, pk)
    found: Drawn = page["drawn"]
    place = next((p for p in found.plan.positions if p.mark == mark), None)
    if place is None:
        msg = f"There is no position {mark} on this plan."
        raise Http404(msg)
    drawing = pattern_drawing(found.plan, mark, found.result, units=page["units"])
    page["place"] = place
    page["pattern_svg"] = svg("pattern", drawing, page["units"])
    page |= plans.position_tables(found, place)
    page["photographs"] = of_position(found.building, mark)
    return render(request, "checks/position.html", page)


@require_GET
def check(request: PersonRequest, pk: int, key: str) -> HttpResponse:
    """Show one check worked out, from its readings to its verdict."""
    page = _page(request, pk)
    shown = None if "\0" in key else check_shown(page["drawn"], key)
    if shown is None:
        msg = f"The plan in force has no check {key}."
        raise Http404(msg)
    return render(request, "checks/check.html", page | {"shown": shown})


@require_GET
def levels(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the pads' levels as a profile along each wall."""
    page = _page(request, pk)
    found: Drawn = page["drawn"]
    drawings = profile_drawings(
        found.plan, found.result, href=_positions_of(pk), units=page["units"]
    )
    page |= {
        "profiles": [svg("profile", drawing, page["units"]) for drawing in drawings],
        "pads": plans.pad_rows(found.plan, found.judged),
        "levels": found.levels,
    }
    return render(request, "checks/levels.html", page)


@require_GET
def shims(request: PersonRequest, pk: int) -> HttpResponse:
    """Show where shims go and what to order."""
    page = _page(request, pk)
    found: Drawn = page["drawn"]
    page |= plans.shim_tables(found)
    return render(request, "checks/shims.html", page)


@require_GET
def export(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand out the building's exchange document, with its readings."""
    found = _drawn(request, pk)
    return _download(building_document(found.building), found, "building")


@require_GET
def export_result(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand out the latest result document."""
    found = _drawn(request, pk)
    if found.evaluation is None:
        raise Http404("Nothing has been evaluated on this plan yet.")
    return _download(found.evaluation.result, found, "result")


def _drawn(request: PersonRequest, pk: int) -> Drawn:
    found = plans.drawn(request.user, pk)
    if found is None:
        raise Http404("There is no such building among your jobs.")
    return found


def _page(request: PersonRequest, pk: int) -> dict[str, Any]:
    """What every drawn page shows around its drawing."""
    found = _drawn(request, pk)
    roles = found.building.roles_of(request.user)
    return {
        "drawn": found,
        "building": found.building,
        "plan": found.plan,
        "judged": found.judged,
        "units": units_for(request, found.plan.length_unit),
        "may_record": may(Action.RECORD_READING, roles),
        "may_draw": may(Action.DRAW_PLAN, roles),
    }


def _exaggerate(request: PersonRequest) -> float | None:
    """The factor asked for; anything else leaves the choice to the drawing."""
    try:
        factor = float(request.GET.get("exaggerate", ""))
    except ValueError:
        return None
    return factor if 1.0 <= factor <= MOST_EXAGGERATED else None


def _positions_of(pk: int) -> Callable[[str], str]:
    return lambda mark: reverse("checks:position", args=[pk, mark])


def _download(document: Any, found: Drawn, what: str) -> JsonResponse:
    name = slugify(found.building.name) or "building"
    return JsonResponse(
        document,
        json_dumps_params={"indent": 2, "ensure_ascii": False},
        headers={"Content-Disposition": f'attachment; filename="{name}.{what}.json"'},
    )
