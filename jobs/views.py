"""The list of jobs, one job, and the people on it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from core.models import Person
from core.permissions import Action, may, require
from core.requests import PersonRequest
from jobs import queries, services
from jobs.forms import FilterForm, JobForm, MemberForm, NewJobForm
from jobs.models import Job
from jobs.refusing import attempt

JOBS_ON_A_PAGE = 25


@require_GET
def jobs(request: PersonRequest) -> HttpResponse:
    """Every job a person may see, and what can ship this week."""
    form = FilterForm(request.GET)
    found = queries.with_buildings(queries.find_jobs(request.user, form.asked()))
    page = Paginator(found, JOBS_ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "rows": queries.rows_of(page.object_list),
        "answer": queries.shipping_answer(request.user),
        "filtered": any(value for key, value in request.GET.items() if key != "page"),
        "may_open": may(Action.OPEN_JOB, {request.user.role}),
    }
    return render(request, "jobs/list.html", context)


@require_http_methods(["GET", "POST"])
def new_job(request: PersonRequest) -> HttpResponse:
    """Open a job with its people."""
    require(request.user, Action.OPEN_JOB, roles={request.user.role})
    form = NewJobForm(request.POST or None, actor=request.user)
    if form.is_valid() and (
        job := attempt(
            form, lambda: services.open_job(actor=request.user, **form.entered())
        )
    ):
        messages.success(request, f"Job {job} is open. Add its buildings next.")
        return redirect(job)
    return render(request, "jobs/new_job.html", {"form": form}, status=_status(form))


@require_GET
def job(request: PersonRequest, job_id: int) -> HttpResponse:
    """One job: its ship date, buildings and people."""
    return render(request, "jobs/job.html", _job_page(request.user, job_id))


@require_http_methods(["GET", "POST"])
def change_job(request: PersonRequest, job_id: int) -> HttpResponse:
    """Change a job's words and its ship date."""
    job = _seen(request.user, job_id)
    require(request.user, Action.EDIT_JOB, roles=job.roles_of(request.user))
    # The form writes what it cleans onto its instance: it gets one of its own.
    form = JobForm(request.POST or None, instance=_seen(request.user, job_id))
    if form.is_valid():
        services.change_job(actor=request.user, job=job, **form.cleaned_data)
        messages.success(request, "Changed.")
        return redirect(job)
    context = {"form": form, "job": job}
    return render(request, "jobs/change_job.html", context, status=_status(form))


@require_POST
def people(request: PersonRequest, job_id: int) -> HttpResponse:
    """Give a person a part in a job, or take it away."""
    job = _seen(request.user, job_id)
    require(request.user, Action.MANAGE_PEOPLE, roles=job.roles_of(request.user))
    form = MemberForm(request.POST)
    if form.is_valid():
        attempt(
            form,
            lambda: services.set_member(actor=request.user, job=job, **form.entered()),
        )
    if not form.errors:
        return redirect("jobs:job", job.pk)
    context = _job_page(request.user, job_id) | {"member_form": form}
    return render(request, "jobs/job.html", context, status=400)


def _seen(person: Person, job_id: int) -> Job:
    return get_object_or_404(Job.objects.visible_to(person), pk=job_id)


def _job_page(person: Person, job_id: int) -> dict[str, object]:
    jobs = queries.with_buildings(Job.objects.visible_to(person))
    job = get_object_or_404(jobs, pk=job_id)
    roles = job.roles_of(person)
    form = MemberForm()
    form.offer(queries.people_to_add(job))
    return {
        "job": job,
        "row": queries.rows_of([job])[0],
        "members": job.memberships.select_related("person"),
        "member_form": form,
        "parts": services.PARTS,
        "may_edit": may(Action.EDIT_JOB, roles),
        "may_draw": may(Action.DRAW_PLAN, roles),
        "may_manage": may(Action.MANAGE_PEOPLE, roles),
        "may_see_trail": may(Action.SEE_TRAIL, roles),
    }


def _status(form: JobForm) -> int:
    return 400 if form.is_bound else 200
