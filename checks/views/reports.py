"""Reports as PDF, written on request for everyone who may see their page."""

from django.http import HttpResponse
from django.utils.text import slugify
from django.utils.timezone import now
from django.views.decorators.http import require_GET

from checks.reports.release_report import render_release_pdf
from checks.reports.sheet_report import render_sheet_pdf
from checks.reports.shim_report import render_shim_pdf
from checks.reports.status_report import render_status_pdf
from checks.views.readings import get_visible_building
from checks.views.releases import get_visible_release
from checks.views.view_log import Kind, log_view
from core.requests import AuthenticatedRequest


@require_GET
def release_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return a signed release as PDF, written from its frozen record alone."""
    found = get_visible_release(request, pk, "building")
    log_view(request, found.building, Kind.RELEASE_PDF, pk)
    site = request.build_absolute_uri("/")
    name = f"{found.record['building']['name']} {found.kind} {found.digest[:8]}"
    return _pdf_response(render_release_pdf(found.record, site), name)


@require_GET
def status_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the status report of a building as PDF."""
    found = get_visible_building(request, pk)
    return _pdf_response(render_status_pdf(found, now()), f"{found} status")


@require_GET
def sheet_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the blank sheet as PDF, with the plan's values on request."""
    found = get_visible_building(request, pk)
    expected = request.GET.get("expected") == "shown"
    return _pdf_response(
        render_sheet_pdf(found, now(), expected=expected), f"{found} sheet"
    )


@require_GET
def shim_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the shim plan and its pack list as PDF."""
    found = get_visible_building(request, pk)
    return _pdf_response(render_shim_pdf(found, now()), f"{found} shims")


def _pdf_response(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{slugify(name) or "report"}.pdf"'
        },
    )
