"""The review queue, and one finding with what can be done about it."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from checks.forms.orders import AskForm, DecideForm, choices_for
from checks.forms.photographs import AddPhotographsForm, CarryOutForm
from checks.models import Decision, Finding
from checks.queries import review
from checks.queries.alike import alike_on_page, alike_with, measured_again
from checks.queries.photographs import of_finding
from checks.queries.review import QueueFilter
from checks.services.errors import ConflictError
from checks.services.findings import (
    ask_again,
    carry_out,
    decide,
    why_not_decide,
)
from checks.views.finding_drawing import drawing_of
from checks.views.seeing import Kind, saw
from checks.views.units import units_for
from checks.wording import order_words, topic_words
from core.models import Role
from core.permissions import Action, may
from core.requests import PersonRequest, asked_for
from jobs.models import Building, Membership
from jobs.plans import plan_of

STATES = {
    "waiting": "wait for a decision",
    "field": "with the field",
    "open": "all open",
    "closed": "closed",
}
TOPICS = {
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
def queue(request: PersonRequest) -> HttpResponse:
    """Show the findings, what steel waits for first."""
    building = request.GET.get("building", "")
    state = request.GET.get("state", "waiting")
    wanted = QueueFilter(
        state=state if state in STATES else "waiting",
        job=asked_for(request, "job"),
        building=int(building) if building.isdecimal() and len(building) < 18 else None,
        topic=asked_for(request, "topic"),
    )
    page = review.review_queue(request.user, wanted, request.GET.get("page"))
    context = {
        "building": _building(request, wanted.building),
        "wanted": wanted,
        "may_decide_in": set(
            Membership.objects.of(request.user)
            .filter(role=Role.ENGINEER)
            .values_list("job", flat=True)
        ),
        "states": STATES,
        "topics": TOPICS,
        "page": page,
        "rows": alike_on_page(
            list(page.object_list), review.wanted_findings(request.user, wanted)
        ),
    }
    return render(request, "checks/findings.html", context)


def _building(request: PersonRequest, pk: int | None) -> Building | None:
    """Fetch the building the queue is asked for, None where there is none to see."""
    if pk is None:
        return None
    seen = Building.objects.visible_to(request.user).select_related("job")
    found: Building | None = seen.filter(pk=pk).first()
    return found


@require_GET
def finding(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one finding: readings, cause, remedies, history, and what to do."""
    found = _seen(request, pk)
    saw(request, found.building, Kind.FINDING, pk)
    return _page(request, found)


@require_POST
def decision(request: PersonRequest, pk: int) -> HttpResponse:
    """Order a remedy, signed."""
    found = _seen(request, pk)
    form = DecideForm(request.POST, request=request, finding=found)
    return _attempt(
        request,
        found,
        {"decide_form": form},
        lambda: decide(actor=request.user, finding=found, **form.order()),
        "Decided.",
    )


@require_POST
def again(request: PersonRequest, pk: int) -> HttpResponse:
    """Ask for another measurement."""
    found = _seen(request, pk)
    form = AskForm(request.POST, request=request)
    return _attempt(
        request,
        found,
        {"ask_form": form},
        lambda: ask_again(actor=request.user, finding=found, **form.order()),
        "Asked for another measurement.",
    )


@require_POST
def carried_out(request: PersonRequest, pk: int) -> HttpResponse:
    """Report a decision as carried out."""
    decisions = Decision.objects.filter(
        finding__in=Finding.objects.visible_to(request.user)
    )
    made = get_object_or_404(decisions, pk=pk)
    found = _seen(request, made.finding_id)
    form = CarryOutForm(request.POST, request.FILES)
    return _attempt(
        request,
        found,
        {"carry_form": form},
        lambda: carry_out(actor=request.user, decision=made, **form.order()),
        "Reported as carried out. Measure it again to close the finding.",
    )


def _seen(request: PersonRequest, pk: int) -> Finding:
    found = review.finding_for(request.user, pk)
    if found is None:
        raise Http404
    return found


def _attempt(
    request: PersonRequest,
    found: Finding,
    forms: dict[str, Form],
    act: Callable[[], object],
    done: str,
) -> HttpResponse:
    """Do what a form asks; show the page again with what speaks against it."""
    (form,) = forms.values()
    if not form.is_valid():
        return _page(request, found, forms, status=400)
    try:
        act()
    except ValidationError as error:
        if hasattr(error, "error_dict"):
            known = {name for name in error.error_dict if name in form.fields}
            for name, errors in error.error_dict.items():
                form.add_error(name if name in known else None, errors)
        else:
            form.add_error(None, error)
        return _page(request, found, forms, status=400)
    except ConflictError as error:
        messages.warning(request, str(error))
        return _page(request, _seen(request, found.pk), status=409)
    messages.success(request, done)
    return redirect(found)


def _what_may_be_done(found: Finding, roles: frozenset[str]) -> dict[str, bool]:
    """Say what somebody with these roles may do about a finding as it stands."""
    state, flagged = found.state, found.flagged_at is not None
    carries = may(Action.CARRY_OUT, roles)
    return {
        "decidable": state in ("open", "remeasure", "carried_out")
        or (state == "decided" and flagged),
        "may_ask": may(Action.ASK_AGAIN, roles)
        and (flagged or state in ("open", "decided")),
        "may_carry": carries and state == "decided" and not flagged,
        "may_show_work": carries,
        "may_photograph": may(Action.ADD_PHOTOGRAPH, roles),
    }


def _page(
    request: PersonRequest,
    found: Finding,
    forms: dict[str, Form] | None = None,
    status: int = 200,
) -> HttpResponse:
    events = list(found.events.all())
    measured = measured_again(found, events)
    seen = {"seen": events[-1].pk if events else None}
    decisions = list(found.decisions.all())
    holds = decisions[-1] if decisions else None
    refusals = {
        approval: why_not_decide(request.user, found, approval)
        for approval in ("field", "engineer")
    }
    approvals = [approval for approval, why_not in refusals.items() if not why_not]
    context = {
        "finding": found,
        "building": found.building,
        "title": topic_words(found.topic),
        "units": units_for(request, plan_of(found.evaluation.revision).length_unit),
        "drawing": drawing_of(request, found),
        "rows": review.rows_of_finding(found),
        "remedies": review.remedies_shown(found, measured, review.case_of(found)),
        "limits": review.limits_shown(found),
        "alike": alike_with(found) if found.closed_at is None else None,
        "again": measured,
        "ruled_out": review.ruled_out(found),
        "holds": holds,
        "ordered": order_words(holds.remedy) if holds else "",
        "done": getattr(holds, "carried_out", None),
        "photographs": of_finding(found),
        "photographs_form": AddPhotographsForm(),
        "events": events,
        "why_not": "" if choices_for(found, approvals) else refusals["engineer"],
        "ask_first": measured is None and found.remedies[0]["remedy"] == "remeasure",
        "decide_form": DecideForm(
            request=request, finding=found, approvals=approvals, initial=seen
        ),
        "ask_form": AskForm(request=request, initial=seen),
        "carry_form": CarryOutForm(),
        **_what_may_be_done(found, found.building.roles_of(request.user)),
    }
    return render(
        request, "checks/finding.html", {**context, **(forms or {})}, status=status
    )
