"""Reports as PDF: made when they are asked for, by whoever may see their page."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.utils.timezone import now
from django.views.decorators.http import require_GET

from checks.models import Release
from checks.reports.release_report import render_release_pdf
from checks.reports.sheet_report import render_sheet_pdf
from checks.reports.shim_report import render_shim_pdf
from checks.reports.status_report import render_status_pdf
from checks.views.view_log import Kind, log_view
from core.requests import AuthenticatedRequest
from jobs.models import Building


@require_GET
def release_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Print a signed release, from its frozen record alone."""
    buildings = Building.objects.visible_to(request.user)
    signed = Release.objects.filter(building__in=buildings)
    found = get_object_or_404(signed.select_related("building"), pk=pk)
    log_view(request, found.building, Kind.RELEASE_PDF, pk)
    site = request.build_absolute_uri("/")
    name = f"{found.record['building']['name']} {found.kind} {found.digest[:8]}"
    return _pdf_response(render_release_pdf(found.record, site), name)


@require_GET
def status_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Print how a building stands."""
    found = _get_visible_building(request, pk)
    return _pdf_response(render_status_pdf(found, now()), f"{found} status")


@require_GET
def sheet_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Print the blank sheet; with the plan's figures where they are asked for."""
    found = _get_visible_building(request, pk)
    expected = request.GET.get("expected") == "shown"
    return _pdf_response(
        render_sheet_pdf(found, now(), expected=expected), f"{found} sheet"
    )


@require_GET
def shim_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Print the shim plan and its pack list."""
    found = _get_visible_building(request, pk)
    return _pdf_response(render_shim_pdf(found, now()), f"{found} shims")


def _get_visible_building(request: AuthenticatedRequest, pk: int) -> Building:
    buildings = Building.objects.visible_to(request.user).select_related("job")
    return get_object_or_404(buildings, pk=pk)


def _pdf_response(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{slugify(name) or "report"}.pdf"'
        },
    )
