"""Re-evaluation of many buildings: start, progress and resumption of a run."""

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from checks.models import Reevaluation
from checks.queries.reevaluation_progress import list_failures, load_progress
from checks.services.reevaluation import resume_reevaluation, start_reevaluation
from checks.tasks import queue_reevaluation
from core.form_errors import call_service
from core.permissions import Action, require
from core.requests import AuthenticatedRequest

PAGE_SIZE = 20


class ReevaluationForm(forms.Form):
    """Why every building is evaluated again."""

    reason = forms.ChoiceField(
        label="What changed", choices=Reevaluation.Reason.choices
    )
    note = forms.CharField(label="Note", max_length=200, required=False)


@require_http_methods(["GET", "POST"])
def reevaluations(request: AuthenticatedRequest) -> HttpResponse:
    """List the runs, and start one."""
    _require_access(request)
    form = ReevaluationForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        run = call_service(
            form, lambda: start_reevaluation(actor=request.user, **form.cleaned_data)
        )
        if run is not None:
            queue_reevaluation.delay_on_commit(run.pk)
            return redirect(run)
    runs = Reevaluation.objects.visible_to(request.user)
    page = Paginator(runs, PAGE_SIZE).get_page(request.GET.get("page"))
    shown = runs.filter(pk__in=[run.pk for run in page])
    context = {"form": form, "page": page, "rows": load_progress(shown)}
    status = 400 if form.errors else 200
    return render(request, "checks/reevaluations.html", context, status=status)


@require_GET
def reevaluation(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the progress of a run; of a htmx request only the part that changes."""
    run = _get_visible_run(request, pk)
    (progress,) = load_progress(Reevaluation.objects.filter(pk=run.pk))
    context = {"progress": progress, "failures": list_failures(run)}
    part = "reevaluation_progress" if request.headers.get("HX-Request") else None
    return render(request, f"checks/{part or 'reevaluation'}.html", context)


@require_POST
def submit_resumption(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Queue the unfinished and the failed buildings of a run again."""
    run = _get_visible_run(request, pk)
    resume_reevaluation(actor=request.user, run=run)
    queue_reevaluation.delay_on_commit(run.pk)
    messages.success(request, "The remaining buildings are queued again.")
    return redirect(run)


def _require_access(request: AuthenticatedRequest) -> None:
    require(request.user, Action.REEVALUATE, roles={request.user.role})


def _get_visible_run(request: AuthenticatedRequest, pk: int) -> Reevaluation:
    _require_access(request)
    return get_object_or_404(Reevaluation.objects.visible_to(request.user), pk=pk)
