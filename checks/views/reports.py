"""Reports as PDF: made when they are asked for, by whoever may see their page."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.utils.timezone import now
from django.views.decorators.http import require_GET

from checks.models import Release
from checks.reports.building import building_pdf
from checks.reports.release import release_pdf
from checks.reports.sheet import sheet_pdf
from checks.reports.shims import shims_pdf
from checks.views.seeing import Kind, saw
from core.requests import PersonRequest
from jobs.models import Building


@require_GET
def release(request: PersonRequest, pk: int) -> HttpResponse:
    """Print a signed release, from its frozen record alone."""
    buildings = Building.objects.visible_to(request.user)
    signed = Release.objects.filter(building__in=buildings)
    found = get_object_or_404(signed.select_related("building"), pk=pk)
    saw(request, found.building, Kind.RELEASE_PDF, pk)
    site = request.build_absolute_uri("/")
    name = f"{found.record['building']['name']} {found.kind} {found.digest[:8]}"
    return _pdf(release_pdf(found.record, site), name)


@require_GET
def building(request: PersonRequest, pk: int) -> HttpResponse:
    """Print how a building stands."""
    found = _seen(request, pk)
    return _pdf(building_pdf(found, now()), f"{found} status")


@require_GET
def sheet(request: PersonRequest, pk: int) -> HttpResponse:
    """Print the blank sheet; with the plan's figures where they are asked for."""
    found = _seen(request, pk)
    expected = request.GET.get("expected") == "shown"
    return _pdf(sheet_pdf(found, now(), expected=expected), f"{found} sheet")


@require_GET
def shims(request: PersonRequest, pk: int) -> HttpResponse:
    """Print the shim plan and its pack list."""
    found = _seen(request, pk)
    return _pdf(shims_pdf(found, now()), f"{found} shims")


def _seen(request: PersonRequest, pk: int) -> Building:
    buildings = Building.objects.visible_to(request.user).select_related("job")
    return get_object_or_404(buildings, pk=pk)


def _pdf(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{slugify(name) or "report"}.pdf"'
        },
    )
