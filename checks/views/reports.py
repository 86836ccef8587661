"""Reports as PDF, typeset on request for everyone who may see their page."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import get_conditional_response, patch_cache_control
from django.utils.text import slugify
from django.utils.timezone import now
from django.views.decorators.http import require_GET

from checks.queries.building_version import read_building_version
from checks.reports.release_report import compose_release
from checks.reports.report_store import (
    build_report_key,
    measure_progress,
    request_report,
)
from checks.reports.sheet_report import compose_sheet
from checks.reports.shim_report import compose_shim_plan
from checks.reports.status_report import compose_status_report
from checks.reports.typst_pdf import Report, TypesettingError
from checks.views.readings import get_visible_building
from checks.views.releases import get_visible_release
from checks.views.view_log import Kind, log_view
from core.requests import AuthenticatedRequest
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building

REFRESH_S = 2  # between two looks at a report that is being typeset


@require_GET
def release_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return a signed release as PDF, typeset from its frozen record alone."""
    found = get_visible_release(request, pk, "building__job")
    log_view(request, found.building, Kind.RELEASE_PDF, pk)
    name = f"{found.building} {found.get_kind_display()} {found.digest[:8]}"
    site = request.build_absolute_uri("/")
    # The digest is computed again: a record that was altered has another report.
    key = build_report_key("release", sha256_of(found.record), site)
    return _answer_report(
        request, found.building, name, key, lambda: compose_release(found.record, site)
    )


@require_GET
def status_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the status report of a building as PDF."""
    found = get_visible_building(request, pk)
    key = build_report_key("status", read_building_version(found))
    return _answer_report(
        request,
        found,
        f"{found} status",
        key,
        lambda: compose_status_report(found, now()),
    )


@require_GET
def sheet_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the blank sheet as PDF, with the plan's values on request."""
    found = get_visible_building(request, pk)
    expected = bool(request.GET.get("expected"))
    key = build_report_key("sheet", read_building_version(found), expected)
    return _answer_report(
        request,
        found,
        f"{found} sheet",
        key,
        lambda: compose_sheet(found, now(), expected=expected),
    )


@require_GET
def shim_report(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return the shim plan and its pack list as PDF."""
    found = get_visible_building(request, pk)
    key = build_report_key("shims", read_building_version(found))
    return _answer_report(
        request, found, f"{found} shims", key, lambda: compose_shim_plan(found, now())
    )


def _answer_report(
    request: HttpRequest,
    building: Building,
    name: str,
    key: str,
    compose: Callable[[], Report],
) -> HttpResponse:
    """Return a PDF, or a page that asks again until it is typeset."""
    etag = f'"{key}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        try:
            pdf = request_report(key, compose, settings.REPORT_WAIT_S)
        except TypesettingError as fault:
            context = {"building": building, "name": name, "reason": str(fault)}
            return render(request, "checks/report_progress.html", context, status=500)
        if pdf is None:
            return _answer_progress(request, building, name, key)
        file_name = f"{slugify(name) or 'report'}.pdf"
        response = HttpResponse(
            pdf,
            content_type="application/pdf",
            headers={
                "Content-Disposition": f'inline; filename="{file_name}"',
                "ETag": etag,
            },
        )
    # Kept by the browser, and asked about each time: access may have ended.
    patch_cache_control(response, private=True, no_cache=True)
    return response


def _answer_progress(
    request: HttpRequest, building: Building, name: str, key: str
) -> HttpResponse:
    """Return the page shown while a report is typeset; it loads itself again."""
    context = {
        "building": building,
        "name": name,
        "seconds": round(measure_progress(key) or 0.0),
    }
    response = render(request, "checks/report_progress.html", context, status=202)
    response["Refresh"] = str(REFRESH_S)
    patch_cache_control(response, no_store=True)
    return response
