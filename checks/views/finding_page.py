"""The page of one finding: what is shown of it, and what its reader may do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.forms import Form
from django.urls import reverse

from checks.forms.decisions import DecisionForm, RemeasurementForm, list_order_choices
from checks.forms.photographs import AddPhotographsForm, CarryOutForm
from checks.labels import describe_order, describe_topic
from checks.models import Decision, Finding, WorkReport
from checks.queries import review
from checks.queries.finding_groups import (
    RemeasuredOnce,
    find_group,
    find_remeasurement,
)
from checks.queries.photographs import list_finding_photographs
from checks.services.findings import explain_decision_refusal
from checks.views.display_units import get_display_units
from checks.views.finding_drawings import draw_finding
from checks.views.new_plates import build_plate_view
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from core.vocabulary import Approval, RemedyKind
from jobs.plans.plan_cache import load_plan

State = Finding.State


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseNote:
    """State of the cause: measured again already, or a likely mistake.

    Attributes
    ----------
    is_hint : whether it is only a hint, which changes no number.
    """

    heading: str
    text: str
    note: str = ""
    is_hint: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionInForce:
    """The latest decision, with the order in words and the work done on it."""

    decision: Decision
    order: str
    work: WorkReport | None
    needs_review: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographSection:
    """The form that adds photographs, of the finding or of the work done on it."""

    label: str
    url: str
    form: AddPhotographsForm


def describe_state(finding: Finding) -> str:
    """Return the state of a finding, as the chip beside its name."""
    if finding.flagged_at is not None:
        return "decision needs review"
    return str(finding.get_state_display())


def build_finding_context(
    request: AuthenticatedRequest, finding: Finding, returned_forms: Mapping[str, Form]
) -> dict[str, Any]:
    """Build the context of the page.

    Parameters
    ----------
    request : AuthenticatedRequest
        Of the reader.
    finding : Finding
        With its history, as `review.get_finding` loads it.
    returned_forms : mapping
        A form that came back with errors, by its name in the context.
    """
    events = list(finding.events.all())
    remeasured = find_remeasurement(finding, events)
    decisions = list(finding.decisions.all())
    latest = decisions[-1] if decisions else None
    remedies = review.list_remedies(
        finding, remeasured, review.load_remedy_context(finding)
    )
    plan = load_plan(finding.evaluation.revision)
    units = get_display_units(request, plan.length_unit)
    return {
        "finding": finding,
        "building": finding.building,
        "title": describe_topic(finding.topic),
        "state": describe_state(finding),
        "units": units,
        "new_plate": build_plate_view(finding, units),
        "drawing": draw_finding(request, finding),
        "rows": review.list_finding_checks(finding),
        "chance": review.find_chance(finding),
        "proposal": remedies[0],
        "alternatives": remedies[1:],
        "limits": review.list_finding_limits(finding),
        "group": find_group(finding) if finding.closed_at is None else None,
        "cause": _describe_cause(finding, remeasured),
        "ruled_out": review.list_ruled_out(finding),
        "consequences": review.list_consequences(finding),
        "in_force": _find_decision_in_force(finding, latest),
        "photographs": list_finding_photographs(finding),
        "events": events,
        **_offer_forms(
            _build_forms(request, finding, latest, remeasured), returned_forms
        ),
    }


def _offer_forms(
    offered: dict[str, Any], returned: Mapping[str, Form]
) -> dict[str, Any]:
    """Replace the blank forms by those that came back with errors."""
    return offered | {
        name: form for name, form in returned.items() if offered[name] is not None
    }


def _describe_cause(
    finding: Finding, remeasured: RemeasuredOnce | None
) -> CauseNote | None:
    cause = finding.likely_cause
    explanation = cause["explanation"] if cause else ""
    if remeasured is not None:
        return CauseNote(
            heading="Measured again",
            text=f"{remeasured.text} The next remedy is proposed instead.",
            note=f"Reason for measuring again: {explanation}" if explanation else "",
        )
    if explanation:
        return CauseNote(heading="Likely cause", text=explanation, is_hint=True)
    return None


def _find_decision_in_force(
    finding: Finding, latest: Decision | None
) -> DecisionInForce | None:
    """Return the latest decision unless the finding was opened again after it."""
    needs_review = finding.flagged_at is not None
    if latest is None or (finding.state == State.OPEN and not needs_review):
        return None
    return DecisionInForce(
        decision=latest,
        order=describe_order(latest.remedy),
        work=getattr(latest, "work_report", None),
        needs_review=needs_review,
    )


def _build_forms(
    request: AuthenticatedRequest,
    finding: Finding,
    latest: Decision | None,
    remeasured: RemeasuredOnce | None,
) -> dict[str, Any]:
    """Build the forms of what this reader may do now; None for all others."""
    roles = finding.building.roles_of(request.user)
    state, is_flagged = finding.state, finding.flagged_at is not None
    # What the reader saw last: a decision on an older page is refused.
    events = list(finding.events.all())
    seen = {"seen": events[-1].pk if events else None}
    may_ask = (
        may(Action.REQUEST_REMEASUREMENT, roles)
        and (is_flagged or state in (State.OPEN, State.DECIDED))
        and bool(finding.checks)
    )
    may_report = may(Action.REPORT_WORK, roles)
    return {
        **_build_decision_form(request, finding, seen),
        "ask_form": RemeasurementForm(request=request, initial=seen)
        if may_ask
        else None,
        "ask_first": remeasured is None
        and finding.remedies[0]["remedy"] == RemedyKind.REMEASURE,
        "carry_form": CarryOutForm()
        if may_report and state == State.DECIDED and not is_flagged
        else None,
        "reported_decision": latest,
        "photograph_section": _build_photograph_section(
            finding,
            latest if may_report else None,
            may_add=may(Action.ADD_PHOTOGRAPH, roles),
        ),
    }


def _build_decision_form(
    request: AuthenticatedRequest, finding: Finding, seen: dict[str, int | None]
) -> dict[str, Any]:
    """Build the form of a decision, or say why this reader cannot decide."""
    is_flagged = finding.flagged_at is not None
    is_decidable = finding.state in (
        State.OPEN,
        State.REMEASURE,
        State.CARRIED_OUT,
    ) or (finding.state == State.DECIDED and is_flagged)
    refusals = {
        approval: explain_decision_refusal(request.user, finding, approval)
        for approval in Approval.values()
    }
    approvals = [approval for approval, refusal in refusals.items() if not refusal]
    if not is_decidable:
        return {"decide_form": None, "refusal": ""}
    if not list_order_choices(finding, approvals):
        return {"decide_form": None, "refusal": refusals[Approval.ENGINEER]}
    form = DecisionForm(
        request=request, finding=finding, approvals=approvals, initial=seen
    )
    return {"decide_form": form, "refusal": ""}


def _build_photograph_section(
    finding: Finding, latest: Decision | None, *, may_add: bool
) -> PhotographSection | None:
    """Build the form for photographs of the work, once it was reported."""
    if latest is not None and getattr(latest, "work_report", None):
        return PhotographSection(
            label="Add photographs of the work",
            url=reverse("checks:add_decision_photographs", args=[latest.pk]),
            form=AddPhotographsForm(),
        )
    if may_add:
        return PhotographSection(
            label="Add photographs",
            url=reverse("checks:add_finding_photographs", args=[finding.pk]),
            form=AddPhotographsForm(),
        )
    return None
