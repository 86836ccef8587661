"""Photographs: shown to everyone who may see the building, and uploaded.

A file is named by its SHA-256 and never changes, so a browser may cache it forever; a
shared cache may not, because only some people may see it.
"""

import logging
import re
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Q
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    JsonResponse,
    StreamingHttpResponse,
)
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.dateparse import parse_datetime
from django.utils.timezone import is_naive
from django.views.decorators.http import require_GET, require_POST

from checks.forms.photographs import AddPhotographsForm, size_error
from checks.forms.reading_rows import ReadingRow
from checks.models import DIGEST_PATTERN, Decision, Finding, Photograph
from checks.services.file_store import FileStoreError, stream_file
from checks.services.photographs import add_photograph, add_photographs
from checks.views.readings import get_visible_building
from core.models import Person
from core.requests import AuthenticatedRequest
from jobs.models import Building

logger = logging.getLogger(__name__)

ROW_PHOTOGRAPH_NAMESPACE = UUID("8d1f5c0a-52c1-4e0b-9a53-0f7a3c1e6b44")
"""A row's photograph gets its id from the row's: a form sent twice stores one."""
CACHE_FOREVER = "private, max-age=31536000, immutable"


@require_GET
def photograph(request: AuthenticatedRequest, pk: int, digest: str) -> HttpResponseBase:
    """Return a photograph's file, full size or small, by its SHA-256."""
    if not can_see_photograph(request.user, pk, digest):
        raise Http404("No such photograph on your jobs.")
    return photograph_response(request, digest)


def can_see_photograph(person: Person, building: int, digest: str) -> bool:
    """Return whether the file belongs to a photograph this person may see."""
    if not re.fullmatch(DIGEST_PATTERN, digest):
        return False
    seen = Photograph.objects.visible_to(person).filter(building=building)
    return seen.filter(Q(digest=digest) | Q(small_digest=digest)).exists()


def photograph_response(request: HttpRequest, digest: str) -> HttpResponseBase:
    """Return a file as a cacheable response; the caller has checked permission."""
    etag = f'"{digest}"'
    answer: HttpResponseBase | None = get_conditional_response(request, etag=etag)
    if answer is None:
        try:
            stream = stream_file(digest)
        except FileStoreError as fault:
            logger.exception("The file of a photograph is missing.")
            raise Http404(str(fault)) from fault
        answer = StreamingHttpResponse(stream.chunks, content_type="image/jpeg")
        answer["Content-Length"] = str(stream.size)
        answer["Content-Disposition"] = f'inline; filename="{digest[:12]}.jpg"'
    answer["ETag"] = etag
    answer["Cache-Control"] = CACHE_FOREVER
    answer["X-Content-Type-Options"] = "nosniff"
    patch_vary_headers(answer, ["Cookie"])
    return answer


@require_POST
def add_to_finding(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Add photographs to a finding."""
    findings = Finding.objects.visible_to(request.user)
    found = get_object_or_404(findings.select_related("building"), pk=pk)
    return _add_photographs(request, found, finding=found)


@require_POST
def add_to_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Add photographs of the work that a decision ordered."""
    findings = Finding.objects.visible_to(request.user)
    decisions = Decision.objects.filter(finding__in=findings)
    made = get_object_or_404(decisions.select_related("finding__building"), pk=pk)
    return _add_photographs(request, made.finding, decision=made)


def _add_photographs(
    request: AuthenticatedRequest, found: Finding, **target: Any
) -> HttpResponse:
    form = AddPhotographsForm(request.POST, request.FILES)
    if form.is_valid():
        try:
            added = add_photographs(
                actor=request.user,
                building=found.building,
                **form.to_arguments(),
                **target,
            )
        except ValidationError as error:
            _show_errors(request, error.messages)
        else:
            count = len(added)
            several = "1 photograph" if count == 1 else f"{count} photographs"
            messages.success(request, f"{several} added.")
    else:
        told = [str(each) for errors in form.errors.values() for each in errors]
        _show_errors(request, told)
    return redirect(found)


def _show_errors(request: AuthenticatedRequest, errors: list[str]) -> None:
    for message in errors:
        messages.error(request, message)


@require_POST
def sync_photograph(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Store a photograph of a phone's outbox; return the outcome by its id.

    As with readings, the phone names the person who took it: where another person has
    signed in on it since, it is not stored.
    """
    building = get_visible_building(request, pk)
    try:
        client_id = UUID(request.POST.get("id", ""))
    except ValueError:
        return JsonResponse(
            {"error": "A photograph needs an `id`, a UUID."}, status=400
        )
    if request.POST.get("person") != str(request.user.pk):
        msg = (
            "Another person has signed in on this phone. Whoever took the photograph "
            "must sign in to send it."
        )
        return JsonResponse({"error": msg}, status=409)
    try:
        _store_upload(request, building, client_id)
    except PermissionDenied as error:
        return JsonResponse({"error": str(error)}, status=403)
    except ValidationError as error:
        refused = {request.POST["id"]: error.messages}
        return JsonResponse({"known": [], "refused": refused})
    return JsonResponse({"known": [request.POST["id"]], "refused": {}})


def _store_upload(
    request: AuthenticatedRequest, building: Building, client_id: UUID
) -> None:
    file = request.FILES.get("file")
    if file is None:
        raise ValidationError("The file of the photograph is missing.")
    if told := size_error(file):
        raise ValidationError(told)
    add_photograph(
        actor=request.user,
        building=building,
        client_id=client_id,
        content=file.read(),
        taken_at=_parse_time(request.POST.get("taken_at", "")),
        caption=request.POST.get("caption", ""),
        check=request.POST.get("check", ""),
        reading=request.POST.get("reading", ""),
    )


def _parse_time(text: str) -> datetime:
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None or is_naive(found):
        raise ValidationError("`taken_at` must be a date and time with a time zone.")
    return found


def store_row_photographs(
    request: AuthenticatedRequest,
    building: Building,
    rows: list[ReadingRow],
    stored: set[str],
) -> tuple[int, dict[int, list[str]]]:
    """Store the photographs that came with a section of the walk.

    Parameters
    ----------
    request : AuthenticatedRequest
        With the files; its readings are recorded already.
    building : Building
        The building measured.
    rows : list of ReadingRow
        Of the section, as typed.
    stored : set of str
        Client ids of the readings that the record has now.

    Returns
    -------
    How many are new, and the errors of the others by the number of their row.
    """
    new, errors = 0, {}
    for row in rows:
        file = request.FILES.get(f"photograph-{row.number}")
        if file is None or row.walk_row is None:
            continue
        try:
            if problem := size_error(file):
                raise ValidationError(problem)
            added = add_photograph(
                actor=request.user,
                building=building,
                client_id=uuid5(ROW_PHOTOGRAPH_NAMESPACE, row.client_id),
                content=file.read(),
                check=row.check_key,
                reading=row.client_id if row.client_id in stored else "",
            )
        except ValidationError as error:
            errors[row.number] = error.messages
        else:
            new += added.created
    return new, errors
