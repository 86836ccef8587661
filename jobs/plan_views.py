"""Drawing up, importing, revising and looking at a building's plan."""

import json

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from core.models import Person
from core.permissions import Action, may, require
from core.requests import PersonRequest
from jobs import queries, services
from jobs.changes import Change, plan_changes
from jobs.document_form import DocumentForm
from jobs.models import Building, Job, PlanRevision
from jobs.plans import plan_of
from jobs.previews import Preview, preview_of
from jobs.rectangle_form import RectangleForm
from jobs.refusing import attempt


@require_http_methods(["GET", "POST"])
def new_building(request: PersonRequest, job_id: int) -> HttpResponse:
    """Describe a rectangular building and store it as the first issue of its plan."""
    job = _drawable_job(request.user, job_id)
    form = RectangleForm(request.POST or None)
    if form.is_valid() and (building := _added(request, job, form)):
        return redirect("jobs:plan", building.pk)
    context = {"job": job, "form": form, "preview": form.preview()}
    status = 400 if form.is_bound else 200
    return render(request, "jobs/new_building.html", context, status=status)


@require_POST
def preview_building(request: PersonRequest, job_id: int) -> HttpResponse:
    """Draw what is typed so far, and say what is wrong beside each field."""
    job = _drawable_job(request.user, job_id)
    form = RectangleForm(request.POST)
    form.is_valid()
    form.forgive_blanks()
    context = {"job": job, "form": form, "preview": form.preview()}
    return render(request, "jobs/new_building_preview.html", context)


@require_http_methods(["GET", "POST"])
def import_building(request: PersonRequest, job_id: int) -> HttpResponse:
    """Add a building from an exchange document, shown before it is stored."""
    job = _drawable_job(request.user, job_id)
    form = DocumentForm(request.POST or None, request.FILES or None)
    if _to_store(request, form) and (building := _added(request, job, form)):
        return redirect("jobs:plan", building.pk)
    context = {"job": job, "form": form, "preview": _preview(form)}
    return render(
        request, "jobs/import.html", context, status=_status_of(request, form)
    )


@require_http_methods(["GET", "POST"])
def revise(request: PersonRequest, building_id: int) -> HttpResponse:
    """Issue another revision of a plan, its changes listed before it is stored."""
    building = _seen(request.user, building_id)
    require(request.user, Action.DRAW_PLAN, roles=building.roles_of(request.user))
    current = building.current_revision()
    form = DocumentForm(
        request.POST or None, request.FILES or None, base=current.document
    )
    if _to_store(request, form) and _revised(request, building, form):
        return redirect("jobs:plan", building.pk)
    context = {
        "building": building,
        "current": current,
        "form": form,
        "preview": _preview(form),
        "changes": _changes(current, form),
    }
    return render(
        request, "jobs/revise.html", context, status=_status_of(request, form)
    )


@require_GET
def plan(request: PersonRequest, building_id: int) -> HttpResponse:
    """Show the plan in force, and its issues in pages, with what each changed."""
    building = _seen(request.user, building_id)
    current = building.current_revision()
    page, issues = queries.issues_page(building, request.GET.get("page"))
    context = {
        "building": building,
        "issues": issues,
        "page": page,
        "current": current,
        "preview": preview_of(plan_of(current)),
        "may_draw": may(Action.DRAW_PLAN, building.roles_of(request.user)),
    }
    return render(request, "jobs/plan.html", context)


@require_GET
def document(request: PersonRequest, building_id: int, number: int) -> HttpResponse:
    """Hand out one issue of a plan as the exchange document it is."""
    building = _seen(request.user, building_id)
    revision = get_object_or_404(building.revisions, number=number)
    text = json.dumps(revision.document, indent=2, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json")
    name = f"plan-{building.pk}-revision-{number}.json"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _to_store(request: PersonRequest, form: DocumentForm) -> bool:
    """Whether a plan that was read is stored now: told to, and looked at before."""
    return form.is_valid() and "store" in request.POST and form.looked_at


def _status_of(request: PersonRequest, form: DocumentForm) -> int:
    """Answer what is shown in place with 200, for nothing else is swapped in."""
    in_place = "HX-Request" in request.headers
    return 400 if form.errors and not in_place else 200


def _added(
    request: PersonRequest,
    job: Job,
    form: DocumentForm | RectangleForm,
) -> Building | None:
    note = form.cleaned_data["note"]
    building = attempt(
        form,
        lambda: services.add_building(
            actor=request.user, job=job, document=form.entered(), note=note
        ),
    )
    if building:
        messages.success(request, f"{building} is on the job.")
    return building


def _revised(
    request: PersonRequest, building: Building, form: DocumentForm
) -> PlanRevision | None:
    revision = attempt(
        form,
        lambda: services.revise_plan(
            actor=request.user,
            building=building,
            document=form.entered(),
            note=form.cleaned_data["note"],
        ),
    )
    if revision:
        messages.success(request, f"Revision {revision.number} is in force.")
    return revision


def _changes(current: PlanRevision, form: DocumentForm) -> tuple[Change, ...]:
    if form.building is None:
        return ()
    return plan_changes(plan_of(current), form.building.plan)


def _preview(form: DocumentForm) -> Preview | None:
    if form.building is None:
        return None
    return preview_of(form.building.plan, readings=len(form.building.readings))


def _drawable_job(person: Person, job_id: int) -> Job:
    job = get_object_or_404(Job.objects.visible_to(person), pk=job_id)
    require(person, Action.DRAW_PLAN, roles=job.roles_of(person))
    return job


def _seen(person: Person, building_id: int) -> Building:
    buildings = Building.objects.visible_to(person).select_related("job")
    return get_object_or_404(buildings, pk=building_id)
