"""The review queue, and one finding with what can be done about it."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from checks.forms.decisions import DecisionForm, RemeasurementForm, list_order_choices
from checks.forms.photographs import AddPhotographsForm, CarryOutForm
from checks.labels import describe_remedy, describe_topic
from checks.models import Decision, Finding
from checks.queries import review
from checks.queries.finding_groups import find_group, find_remeasurement, group_page
from checks.queries.photographs import list_finding_photographs
from checks.queries.review import QueueFilter, QueueState
from checks.services.errors import ConflictError
from checks.services.findings import (
    decide_finding,
    explain_decision_refusal,
    report_work_done,
    request_remeasurement,
)
from checks.views.display_units import get_display_units
from checks.views.finding_drawings import draw_finding
from checks.views.view_log import Kind, log_view
from core.models import Role
from core.permissions import Action, may
from core.requests import AuthenticatedRequest, get_query_param
from jobs.models import Building, Membership
from jobs.plans.plan_cache import load_plan

QUEUE_TOPICS = {
    "position": "rods",
    "level": "levels",
    "squareness": "outline",
    "wall": "walls",
    "projection": "projection",
    "strength": "strength",
    "notch": "notch",
    "plumb": "plumb",
}


@require_GET
def finding_queue(request: AuthenticatedRequest) -> HttpResponse:
    """Show the findings, what steel waits for first."""
    building = request.GET.get("building", "")
    state = request.GET.get("state", "waiting")
    wanted = QueueFilter(
        state=QueueState(state) if state in QueueState.values() else QueueState.WAITING,
        job=get_query_param(request, "job"),
        building=int(building) if building.isdecimal() and len(building) < 18 else None,
        topic=get_query_param(request, "topic"),
    )
    page = review.paginate_findings(request.user, wanted, request.GET.get("page"))
    context = {
        "building": _get_filtered_building(request, wanted.building),
        "wanted": wanted,
        "may_decide_in": set(
            Membership.objects.of(request.user)
            .filter(role=Role.ENGINEER)
            .values_list("job", flat=True)
        ),
        "states": dict(QueueState.choices()),
        "topics": QUEUE_TOPICS,
        "page": page,
        "rows": group_page(
            list(page.object_list), review.filter_findings(request.user, wanted)
        ),
    }
    return render(request, "checks/findings.html", context)


def _get_filtered_building(
    request: AuthenticatedRequest, pk: int | None
) -> Building | None:
    """Fetch the building the queue is asked for, None where there is none to see."""
    if pk is None:
        return None
    seen = Building.objects.visible_to(request.user).select_related("job")
    found: Building | None = seen.filter(pk=pk).first()
    return found


@require_GET
def finding_detail(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show one finding: readings, cause, remedies, history, and what to do."""
    found = _get_visible_finding(request, pk)
    log_view(request, found.building, Kind.FINDING, pk)
    return _render_finding(request, found)


@require_POST
def sign_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Order a remedy, signed."""
    found = _get_visible_finding(request, pk)
    form = DecisionForm(request.POST, request=request, finding=found)
    return _call_service(
        request,
        found,
        {"decide_form": form},
        lambda: decide_finding(
            actor=request.user, finding=found, **form.to_arguments()
        ),
        "Decided.",
    )


@require_POST
def ask_for_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Ask for another measurement."""
    found = _get_visible_finding(request, pk)
    form = RemeasurementForm(request.POST, request=request)
    return _call_service(
        request,
        found,
        {"ask_form": form},
        lambda: request_remeasurement(
            actor=request.user, finding=found, **form.to_arguments()
        ),
        "Asked for another measurement.",
    )


@require_POST
def report_carried_out(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Report a decision as carried out."""
    decisions = Decision.objects.filter(
        finding__in=Finding.objects.visible_to(request.user)
    )
    made = get_object_or_404(decisions, pk=pk)
    found = _get_visible_finding(request, made.finding_id)
    form = CarryOutForm(request.POST, request.FILES)
    return _call_service(
        request,
        found,
        {"carry_form": form},
        lambda: report_work_done(
            actor=request.user, decision=made, **form.to_arguments()
        ),
        "Reported as carried out. Measure it again to close the finding.",
    )


def _get_visible_finding(request: AuthenticatedRequest, pk: int) -> Finding:
    found = review.get_finding(request.user, pk)
    if found is None:
        raise Http404
    return found


def _call_service(
    request: AuthenticatedRequest,
    finding: Finding,
    forms: dict[str, Form],
    call: Callable[[], object],
    success_message: str,
) -> HttpResponse:
    """Do what a form asks; show the page again with what speaks against it."""
    (form,) = forms.values()
    if not form.is_valid():
        return _render_finding(request, finding, forms, status=400)
    try:
        call()
    except ValidationError as error:
        if hasattr(error, "error_dict"):
            known = {name for name in error.error_dict if name in form.fields}
            for name, errors in error.error_dict.items():
                form.add_error(name if name in known else None, errors)
        else:
            form.add_error(None, error)
        return _render_finding(request, finding, forms, status=400)
    except ConflictError as error:
        messages.warning(request, str(error))
        return _render_finding(
            request, _get_visible_finding(request, finding.pk), status=409
        )
    messages.success(request, success_message)
    return redirect(finding)


def _permitted_actions(finding: Finding, roles: frozenset[str]) -> dict[str, bool]:
    """Say what somebody with these roles may do about a finding as it stands."""
    state, flagged = finding.state, finding.flagged_at is not None
    carries = may(Action.REPORT_WORK, roles)
    return {
        "decidable": state in ("open", "remeasure", "carried_out")
        or (state == "decided" and flagged),
        "may_ask": may(Action.REQUEST_REMEASUREMENT, roles)
        and (flagged or state in ("open", "decided")),
        "may_carry": carries and state == "decided" and not flagged,
        "may_show_work": carries,
        "may_photograph": may(Action.ADD_PHOTOGRAPH, roles),
    }


def _render_finding(
    request: AuthenticatedRequest,
    finding: Finding,
    forms: dict[str, Form] | None = None,
    status: int = 200,
) -> HttpResponse:
    events = list(finding.events.all())
    measured = find_remeasurement(finding, events)
    seen = {"seen": events[-1].pk if events else None}
    decisions = list(finding.decisions.all())
    holds = decisions[-1] if decisions else None
    refusals = {
        approval: explain_decision_refusal(request.user, finding, approval)
        for approval in ("field", "engineer")
    }
    approvals = [approval for approval, why_not in refusals.items() if not why_not]
    context = {
        "finding": finding,
        "building": finding.building,
        "title": describe_topic(finding.topic),
        "units": get_display_units(
            request, load_plan(finding.evaluation.revision).length_unit
        ),
        "drawing": draw_finding(request, finding),
        "rows": review.list_finding_checks(finding),
        "remedies": review.list_remedies(
            finding, measured, review.load_remedy_context(finding)
        ),
        "limits": review.list_finding_limits(finding),
        "alike": find_group(finding) if finding.closed_at is None else None,
        "again": measured,
        "ruled_out": review.list_ruled_out(finding),
        "holds": holds,
        "ordered": describe_remedy(holds.remedy) if holds else "",
        "done": getattr(holds, "work_report", None),
        "photographs": list_finding_photographs(finding),
        "photographs_form": AddPhotographsForm(),
        "events": events,
        "why_not": ""
        if list_order_choices(finding, approvals)
        else refusals["engineer"],
        "ask_first": measured is None and finding.remedies[0]["remedy"] == "remeasure",
        "decide_form": DecisionForm(
            request=request, finding=finding, approvals=approvals, initial=seen
        ),
        "ask_form": RemeasurementForm(request=request, initial=seen),
        "carry_form": CarryOutForm(),
        **_permitted_actions(finding, finding.building.roles_of(request.user)),
    }
    return render(
        request, "checks/finding.html", {**context, **(forms or {})}, status=status
    )
