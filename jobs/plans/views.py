"""Pages to create, import, revise and show a building's plan."""

import json

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from core.form_errors import call_service
from core.models import Person
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs import services
from jobs.models import Building, Job, PlanRevision
from jobs.plans.import_form import PlanImportForm
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_diff import PlanChange, compare_plans
from jobs.plans.plan_preview import PlanPreview, build_preview
from jobs.plans.rectangle_form import RectangleForm
from jobs.plans.revisions import paginate_revisions


@require_http_methods(["GET", "POST"])
def new_building(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Create a rectangular building from the guided form."""
    job = _get_drawable_job(request.user, job_id)
    form = RectangleForm(request.POST or None)
    is_valid = form.is_valid()
    preview = form.build_preview()
    # Without a script there was no preview: what is doubtful is shown before it is
    # saved, and the page that shows it says so when it is sent again.
    is_shown = preview is None or not preview.warnings or "warned" in request.POST
    if is_valid and is_shown and (building := _add_building(request, job, form)):
        return redirect("jobs:plan", building.pk)
    context = {"job": job, "form": form, "preview": preview}
    status = 400 if form.errors else 200
    return render(request, "jobs/new_building.html", context, status=status)


@require_POST
def preview_building(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Draw the building as entered so far, with the errors of each field."""
    job = _get_drawable_job(request.user, job_id)
    form = RectangleForm(request.POST)
    form.is_valid()
    # While somebody is typing, a blank field is not an error yet.
    form.clear_blank_errors()
    context = {"job": job, "form": form, "preview": form.build_preview()}
    return render(request, "jobs/live_preview_response.html", context)


@require_http_methods(["GET", "POST"])
def import_building(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Import a building from a file or document, with a preview before saving."""
    job = _get_drawable_job(request.user, job_id)
    form = PlanImportForm(request.POST or None, request.FILES or None)
    if _is_confirmed(request, form) and (building := _add_building(request, job, form)):
        return redirect("jobs:plan", building.pk)
    context = {
        "job": job,
        "form": form,
        "cancel_url": job.get_absolute_url(),
        **_preview_context(form),
    }
    return render(
        request,
        "jobs/import_building.html",
        context,
        status=_response_status(request, form),
    )


@require_http_methods(["GET", "POST"])
def revise_building(request: AuthenticatedRequest, building_id: int) -> HttpResponse:
    """Issue a new revision of a plan, with its changes listed before saving."""
    building = _get_building(request.user, building_id)
    require(request.user, Action.EDIT_PLAN, roles=building.roles_of(request.user))
    current = building.current_revision()
    form = PlanImportForm(
        request.POST or None, request.FILES or None, base=current.document
    )
    if _is_confirmed(request, form) and _revise_plan(request, building, form):
        return redirect("jobs:plan", building.pk)
    changes = _list_changes(current, form)
    context = {
        "building": building,
        "current": current,
        "form": form,
        "cancel_url": reverse("jobs:plan", args=[building.pk]),
        "changes": changes,
        "changes_title": _changes_title(changes, current),
        **_preview_context(form),
    }
    return render(
        request,
        "jobs/revise_building.html",
        context,
        status=_response_status(request, form),
    )


@require_GET
def show_plan(request: AuthenticatedRequest, building_id: int) -> HttpResponse:
    """Show the plan in force and its revisions in pages, with their changes."""
    building = _get_building(request.user, building_id)
    current = building.current_revision()
    page, revisions = paginate_revisions(building, request.GET.get("page"))
    context = {
        "building": building,
        "revisions": revisions,
        "page": page,
        "current": current,
        "preview": build_preview(load_plan(current)),
        "may_draw": may(Action.EDIT_PLAN, building.roles_of(request.user)),
    }
    return render(request, "jobs/plan.html", context)


@require_GET
def download_document(
    request: AuthenticatedRequest, building_id: int, number: int
) -> HttpResponse:
    """Download one revision of a plan as an exchange document."""
    building = _get_building(request.user, building_id)
    revision = get_object_or_404(building.revisions, number=number)
    text = json.dumps(revision.document, indent=2, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json")
    name = f"plan-{building.pk}-revision-{number}.json"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _is_confirmed(request: AuthenticatedRequest, form: PlanImportForm) -> bool:
    """Return True if the plan is valid, was previewed, and is to be saved now."""
    return form.is_valid() and "store" in request.POST and form.is_confirmed


def _response_status(request: AuthenticatedRequest, form: PlanImportForm) -> int:
    """Return 400 for errors; 200 to htmx, which swaps in no other response."""
    in_place = "HX-Request" in request.headers
    return 400 if form.errors and not in_place else 200


def _add_building(
    request: AuthenticatedRequest,
    job: Job,
    form: PlanImportForm | RectangleForm,
) -> Building | None:
    note = form.cleaned_data["note"]
    building = call_service(
        form,
        lambda: services.add_building(
            actor=request.user, job=job, document=form.to_document(), note=note
        ),
    )
    if building:
        messages.success(request, f"{building} added.")
    return building


def _revise_plan(
    request: AuthenticatedRequest, building: Building, form: PlanImportForm
) -> PlanRevision | None:
    revision = call_service(
        form,
        lambda: services.revise_plan(
            actor=request.user,
            building=building,
            document=form.to_document(),
            note=form.cleaned_data["note"],
        ),
    )
    if revision:
        messages.success(request, f"Revision {revision.number} issued.")
    return revision


def _preview_context(form: PlanImportForm) -> dict[str, object]:
    preview = _build_preview(form)
    return {"preview": preview, "can_save": preview is not None and not form.errors}


def _changes_title(changes: tuple[PlanChange, ...], current: PlanRevision) -> str:
    if not changes:
        return f"No changes to the plan against revision {current.number}"
    noun = "change" if len(changes) == 1 else "changes"
    return f"{len(changes)} {noun} against revision {current.number}"


def _list_changes(
    current: PlanRevision, form: PlanImportForm
) -> tuple[PlanChange, ...]:
    if form.building is None:
        return ()
    return compare_plans(load_plan(current), form.building.plan)


def _build_preview(form: PlanImportForm) -> PlanPreview | None:
    if form.building is None:
        return None
    return build_preview(form.building.plan, reading_count=len(form.building.readings))


def _get_drawable_job(person: Person, job_id: int) -> Job:
    job = get_object_or_404(Job.objects.visible_to(person), pk=job_id)
    require(person, Action.EDIT_PLAN, roles=job.roles_of(person))
    return job


def _get_building(person: Person, building_id: int) -> Building:
    buildings = Building.objects.visible_to(person).select_related("job")
    return get_object_or_404(buildings, pk=building_id)
