"""The pages of a building as built: plan, positions, checks, levels and shims."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.cache import caches
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.text import slugify
from django.utils.timezone import get_current_timezone_name, localdate
from django.views.decorators.http import require_GET

from checks.drawings.fit_up import draw_fit_up
from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.profile import draw_profiles
from checks.drawings.svg import render_svg
from checks.evaluation.plan_review import review_plan
from checks.evaluation_input import build_building_document
from checks.forms.steel import SteelStateForm
from checks.methods.catalogue import find_method
from checks.queries.building_tables import (
    RuleRow,
    build_building_tables,
    list_first_checks,
)
from checks.queries.building_version import read_building_version
from checks.queries.check_calculation import load_check_page
from checks.queries.evaluated_plan import (
    EvaluatedPlan,
    get_evaluated_plan,
    load_evaluated_plan,
)
from checks.queries.fit_up_panel import build_fit_up_panel
from checks.queries.photographs import list_position_photographs
from checks.queries.position_tables import (
    build_pad_rows,
    build_position_tables,
    build_shim_tables,
)
from checks.views.display_units import get_display_units
from checks.views.readings import get_visible_building
from checks.views.revalidation import revalidate_page
from checks.views.view_log import Kind
from core.formatting import DisplayStyle
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_drawing import draw_plan

MAX_EXAGGERATION = 10_000.0
MAX_UNFOLDED_RULES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingBody:
    """The part of a building's page that shows its result, rendered."""

    html: SafeString
    evaluated_at: datetime


@require_GET
@revalidate_page(Kind.BUILDING)
def building(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show a building's plan as built, its open findings and its tables."""
    found = get_visible_building(request, pk)
    revision = found.current_revision()
    plan = load_plan(revision)
    roles = found.roles_of(request.user)
    page = {
        "building": found,
        "may_record": may(Action.RECORD_READING, roles),
        "may_draw": may(Action.EDIT_PLAN, roles),
        "plan_warnings": review_plan(plan),
    }
    if may(Action.SET_STEEL_STATE, roles):
        page["steel_form"] = SteelStateForm()
    body = _load_body(request, found, plan, roles)
    if body is None:
        page |= {
            "drawn": load_evaluated_plan(found),
            "drawing": draw_plan(plan),
            "first_checks": list_first_checks(plan),
            "units": get_display_units(request, plan.length_unit),
        }
        return render(request, "checks/building_unmeasured.html", page)
    page |= {
        "drawn": {"revision": revision, "evaluation": {"made_at": body.evaluated_at}},
        "body": body.html,
    }
    return render(request, "checks/building.html", page)


def _load_body(
    request: AuthenticatedRequest,
    found: Building,
    plan: Plan,
    roles: frozenset[str],
) -> BuildingBody | None:
    """Load or render what is the same for all readers; None where nothing is measured.

    Drawings and tables grow with the positions, and change only with the record.
    """
    units = get_display_units(request, plan.length_unit)
    factor = _parse_exaggeration(request)
    parts = (
        read_building_version(found),
        units,
        factor,
        may(Action.RECORD_READING, roles),
        may(Action.EDIT_PLAN, roles),
        get_current_timezone_name(),
        localdate(),
    )
    key = sha256_of([str(part) for part in parts])
    body: BuildingBody | None = caches["fragments"].get(key)
    if body is None:
        body = _render_body(request, found, factor)
        caches["fragments"].set(key, body)
    return body


def _render_body(
    request: AuthenticatedRequest, found: Building, exaggerate: float | None
) -> BuildingBody | None:
    evaluated = load_evaluated_plan(found)
    if evaluated.result is None or evaluated.evaluation is None:
        return None
    page = _build_evaluated_context(request, evaluated)
    drawing = draw_outline(
        evaluated.plan,
        evaluated.result,
        exaggerate=exaggerate,
        href=_position_links(found.pk),
        units=page["units"],
    )
    page |= build_building_tables(evaluated)
    page["plan_svg"] = render_svg("outline", drawing, page["units"])
    page["factor"] = drawing.factor
    page["is_exaggerated"] = bool(request.GET.get("exaggerate"))
    page["rule_groups"] = group_rules(page["rules"])
    page["squaring_moves"] = _list_squaring_moves(evaluated)
    page["fit_up"] = build_fit_up_panel(evaluated)
    if page["fit_up"] is not None:
        page["fit_up_method"] = find_method("fit-up")
        page |= _draw_fit_up(evaluated, page["units"])
    return BuildingBody(
        html=render_to_string("checks/building_body.html", page, request),
        evaluated_at=evaluated.evaluation.made_at,
    )


def _draw_fit_up(evaluated: EvaluatedPlan, units: DisplayStyle) -> dict[str, Any]:
    result = evaluated.result
    assert result is not None  # noqa: S101 - a panel needs one
    fit_up = result.get("fit_up")
    assert fit_up is not None  # noqa: S101 - likewise
    drawing = draw_fit_up(
        evaluated.plan,
        fit_up,
        line_limit_mm=evaluated.results.get_limit("line"),
        href=_position_links(evaluated.building.pk),
        units=units,
    )
    # A long hall needs the whole width; a small drawing leaves room beside it.
    return {
        "fit_up_svg": render_svg("fit_up", drawing, units),
        "fit_up_beside": drawing.size in ("s", "m"),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleGroup:
    """The rules of one verdict: `summary` folds them, an empty one shows them open."""

    rows: list[RuleRow]
    summary: str = ""
    is_open: bool = False


def group_rules(rules: Mapping[str, list[RuleRow]]) -> list[RuleGroup]:
    """Group the rules for the page: those outside first, the others folded.

    A short list is unfolded where no rule is outside.
    """
    outside = rules[Verdict.OUTSIDE]
    groups = [RuleGroup(rows=outside)] if outside else []
    for verdict, label in (
        (Verdict.UNMEASURED, "not measured yet"),
        (Verdict.WITHIN, "within"),
    ):
        rows = rules[verdict]
        if rows:
            groups.append(
                RuleGroup(
                    rows=rows,
                    summary=f"{len(rows)} {label}",
                    is_open=not outside and len(rows) <= MAX_UNFOLDED_RULES,
                )
            )
    return groups


def _list_squaring_moves(evaluated: EvaluatedPlan) -> list[Any]:
    """List the corners to move, where the outline is out of square."""
    square = evaluated.results.squareness
    if square is None or square.get("verdict") != Verdict.OUTSIDE:
        return []
    return list(square.get("square_up") or ())


@require_GET
@revalidate_page()
def position(request: AuthenticatedRequest, pk: int, mark: str) -> HttpResponse:
    """Show one position: its rods, its plate and the remedies of its findings."""
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
@revalidate_page()
def check(request: AuthenticatedRequest, pk: int, key: str) -> HttpResponse:
    """Show the calculation of one check, from its readings to its verdict."""
    page = _build_context(request, pk)
    shown = None if "\0" in key else load_check_page(page["drawn"], key)
    if shown is None:
        msg = f"The plan in force has no check {key}."
        raise Http404(msg)
    page |= {"shown": shown, "is_strength": shown.check.kind is CheckKind.STRENGTH}
    return render(request, "checks/check.html", page)


@require_GET
@revalidate_page()
def levels(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the levels of the pads as a profile along each wall."""
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
@revalidate_page()
def shims(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the shims of each position and the pack list."""
    page = _build_context(request, pk)
    evaluated: EvaluatedPlan = page["drawn"]
    tables = build_shim_tables(evaluated)
    page |= {
        "pads": tables.pads,
        "shimmed": tables.shimmed,
        "referred": tables.referred,
        "unmeasured": tables.unmeasured,
        "unmeasured_marks": ", ".join(pad.mark for pad in tables.unmeasured),
        "levels": evaluated.levels,
    }
    return render(request, "checks/shims.html", page)


@require_GET
@revalidate_page()
def download_document(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the exchange document of the building, with its readings."""
    found = _get_drawn_building(request, pk)
    return _json_download(build_building_document(found.building), found, "building")


@require_GET
@revalidate_page()
def download_result(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the latest result document."""
    found = _get_drawn_building(request, pk)
    if found.evaluation is None:
        raise Http404("Nothing is evaluated on this plan yet.")
    return _json_download(found.evaluation.complete_result, found, "result")


def _get_drawn_building(request: AuthenticatedRequest, pk: int) -> EvaluatedPlan:
    found = get_evaluated_plan(request.user, pk)
    if found is None:
        raise Http404("No such building on your jobs.")
    return found


def _build_context(request: AuthenticatedRequest, pk: int) -> dict[str, Any]:
    """Build the context that every page of a building as built shares."""
    return _build_evaluated_context(request, _get_drawn_building(request, pk))


def _build_evaluated_context(
    request: AuthenticatedRequest, found: EvaluatedPlan
) -> dict[str, Any]:
    roles = found.building.roles_of(request.user)
    return {
        "drawn": found,
        "roles": roles,
        "building": found.building,
        "plan": found.plan,
        "judged": found.results,
        "units": get_display_units(request, found.plan.length_unit),
        "may_record": may(Action.RECORD_READING, roles),
        "may_draw": may(Action.EDIT_PLAN, roles),
    }


def _parse_exaggeration(request: AuthenticatedRequest) -> float | None:
    """Return the exaggeration of the query string; None lets the drawing choose."""
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
