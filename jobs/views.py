"""Pages of jobs and their members."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from core.form_errors import call_service
from core.models import Person
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs import queries, services
from jobs.forms import JobFilterForm, JobForm, MembershipForm, NewJobForm
from jobs.models import Job

JOBS_PER_PAGE = 25


@require_GET
def job_list(request: AuthenticatedRequest) -> HttpResponse:
    """List the jobs a person may see, with the shipping summary."""
    form = JobFilterForm(request.GET)
    found = queries.prefetch_buildings(
        queries.find_jobs(request.user, form.to_filter())
    )
    page = Paginator(found, JOBS_PER_PAGE).get_page(request.GET.get("page"))
    filtered = any(value for key, value in request.GET.items() if key != "page")
    may_create = may(Action.CREATE_JOB, {request.user.role})
    context = {
        "form": form,
        "page": page,
        "rows": queries.build_job_rows(page.object_list),
        "empty_title": "No jobs match" if filtered else "No active jobs",
        "empty_hint": _empty_hint(filtered=filtered, may_create=may_create),
        "shipping": queries.summarise_shipping(request.user),
        "filtered": filtered,
        "may_create": may_create,
    }
    return render(request, "jobs/job_list.html", context)


@require_http_methods(["GET", "POST"])
def new_job(request: AuthenticatedRequest) -> HttpResponse:
    """Create a job with its members."""
    require(request.user, Action.CREATE_JOB, roles={request.user.role})
    form = NewJobForm(request.POST or None, actor=request.user)
    if form.is_valid() and (
        job := call_service(
            form, lambda: services.create_job(actor=request.user, **form.to_arguments())
        )
    ):
        messages.success(request, f"Job {job} created. Add its buildings next.")
        return redirect(job)
    return render(
        request, "jobs/new_job.html", {"form": form}, status=_response_status(form)
    )


@require_GET
def job_detail(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Show one job: ship date, buildings and people."""
    return render(request, "jobs/job_detail.html", _job_context(request.user, job_id))


@require_http_methods(["GET", "POST"])
def edit_job(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Edit a job's details and ship date."""
    job = _get_job(request.user, job_id)
    require(request.user, Action.EDIT_JOB, roles=job.roles_of(request.user))
    # A model form writes cleaned values onto its instance. It gets its own, so that
    # an invalid form leaves the heading of the page unchanged.
    form = JobForm(request.POST or None, instance=_get_job(request.user, job_id))
    if form.is_valid():
        services.update_job(actor=request.user, job=job, **form.cleaned_data)
        messages.success(request, "Job updated.")
        return redirect(job)
    context = {"form": form, "job": job}
    return render(request, "jobs/edit_job.html", context, status=_response_status(form))


@require_POST
def change_membership(request: AuthenticatedRequest, job_id: int) -> HttpResponse:
    """Assign a person's role on a job, or remove the person."""
    job = _get_job(request.user, job_id)
    require(request.user, Action.MANAGE_PEOPLE, roles=job.roles_of(request.user))
    form = MembershipForm(request.POST)
    if form.is_valid():
        call_service(
            form,
            lambda: services.set_membership(
                actor=request.user, job=job, **form.to_arguments()
            ),
        )
    if not form.errors:
        return redirect("jobs:job", job.pk)
    # The page is built anew around the form with its errors.
    context = _job_context(request.user, job_id) | {"member_form": form}
    return render(request, "jobs/job_detail.html", context, status=400)


def _get_job(person: Person, job_id: int) -> Job:
    return get_object_or_404(Job.objects.visible_to(person), pk=job_id)


def _job_context(person: Person, job_id: int) -> dict[str, object]:
    jobs = queries.prefetch_buildings(Job.objects.visible_to(person))
    job = get_object_or_404(jobs, pk=job_id)
    roles = job.roles_of(person)
    form = MembershipForm()
    form.limit_people(queries.list_addable_people(job))
    return {
        "job": job,
        "row": queries.build_job_rows([job])[0],
        "members": job.memberships.select_related("person"),
        "member_form": form,
        "no_building_hint": "Enter one step by step, or import a file."
        if may(Action.EDIT_PLAN, roles)
        else "The operations manager or engineer adds the plan.",
        "may_edit": may(Action.EDIT_JOB, roles),
        "may_draw": may(Action.EDIT_PLAN, roles),
        "may_manage": may(Action.MANAGE_PEOPLE, roles),
        "may_view_audit_log": may(Action.VIEW_AUDIT_LOG, roles),
    }


def _empty_hint(*, filtered: bool, may_create: bool) -> str:
    if filtered:
        return "Remove a filter, or show completed jobs."
    if may_create:
        return "Create the first one; then add its buildings and people."
    return "A job appears here when its operations manager adds you."


def _response_status(form: JobForm) -> int:
    return 400 if form.is_bound else 200
