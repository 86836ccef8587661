"""Photographs: shown to those who may see the building, and taken in.

A file is named by its digest and never changes, so a browser may keep it for good; but
only the browser of whoever was shown it.
"""

import logging
import re
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.dateparse import parse_datetime
from django.utils.timezone import is_naive
from django.views.decorators.http import require_GET, require_POST

from checks.forms.photographs import AddPhotographsForm, size_error
from checks.forms.reading_rows import ReadingRow
from checks.models import DIGEST_PATTERN, Decision, Finding, Photograph
from checks.services.file_store import FileStoreError, load_file
from checks.services.photographs import add_photograph, add_photographs
from checks.views.readings import get_visible_building
from core.models import Person
from core.requests import AuthenticatedRequest
from jobs.models import Building

logger = logging.getLogger(__name__)

ROW_PHOTOGRAPH_NAMESPACE = UUID("8d1f5c0a-52c1-4e0b-9a53-0f7a3c1e6b44")
"""A line's photograph has its id from the line's, so that one form is taken once."""
CACHE_FOREVER = "private, max-age=31536000, immutable"


@require_GET
def photograph(request: AuthenticatedRequest, pk: int, digest: str) -> HttpResponse:
    """Show a photograph's file, whole or small, by its digest."""
    if not can_see_photograph(request.user, pk, digest):
        raise Http404("There is no such photograph among your jobs.")
    return photograph_response(request, digest)


def can_see_photograph(person: Person, building: int, digest: str) -> bool:
    """Whether this is a file of a photograph this person may see."""
    if not re.fullmatch(DIGEST_PATTERN, digest):
        return False
    seen = Photograph.objects.visible_to(person).filter(building=building)
    return seen.filter(Q(digest=digest) | Q(small_digest=digest)).exists()


def photograph_response(request: HttpRequest, digest: str) -> HttpResponse:
    """Answer a file that whoever asks may see."""
    etag = f'"{digest}"'
    answer = get_conditional_response(request, etag=etag)
    if answer is None:
        try:
            answer = HttpResponse(load_file(digest), content_type="image/jpeg")
        except FileStoreError as fault:
            logger.exception("A photograph cannot be shown.")
            raise Http404(str(fault)) from fault
        answer["Content-Disposition"] = f'inline; filename="{digest[:12]}.jpg"'
    answer["ETag"] = etag
    answer["Cache-Control"] = CACHE_FOREVER
    answer["X-Content-Type-Options"] = "nosniff"
    patch_vary_headers(answer, ["Cookie"])
    return answer


@require_POST
def add_to_finding(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Add photographs of a finding."""
    findings = Finding.objects.visible_to(request.user)
    found = get_object_or_404(findings.select_related("building"), pk=pk)
    return _add_photographs(request, found, finding=found)


@require_POST
def add_to_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Add photographs of what a decision ordered, after it was reported."""
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
            messages.success(request, f"{several} in the record.")
    else:
        told = [str(each) for errors in form.errors.values() for each in errors]
        _show_errors(request, told)
    return redirect(found)


def _show_errors(request: AuthenticatedRequest, errors: list[str]) -> None:
    for message in errors:
        messages.error(request, message)


@require_POST
def sync_photograph(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Take a photograph a phone kept, and tell by its id what became of it.

    As with readings, the phone names whose it is: where somebody else has signed in
    on it since, it is not taken.
    """
    building = get_visible_building(request, pk)
    try:
        client_id = UUID(request.POST.get("id", ""))
    except ValueError:
        return JsonResponse({"error": "A photograph has an `id`, a UUID."}, status=400)
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
        raise ValidationError("The photograph itself is missing.")
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
        raise ValidationError("When it was taken is a date and a time with its zone.")
    return found


def store_row_photographs(
    request: AuthenticatedRequest,
    building: Building,
    lines: list[ReadingRow],
    stored: set[str],
) -> tuple[int, dict[int, list[str]]]:
    """Take the photographs that came with a section of the walk, a line each.

    Parameters
    ----------
    request : the form, its readings recorded.
    building : that is measured.
    lines : of the section, as typed.
    stored : client ids of the readings that are in the record now.

    Returns
    -------
    How many are new, and by the line's number why others were not taken.
    """
    new, trouble = 0, {}
    for line in lines:
        file = request.FILES.get(f"photograph-{line.number}")
        if file is None or line.walk_row is None:
            continue
        try:
            if told := size_error(file):
                raise ValidationError(told)
            added = add_photograph(
                actor=request.user,
                building=building,
                client_id=uuid5(ROW_PHOTOGRAPH_NAMESPACE, line.client_id),
                content=file.read(),
                check=line.check_key,
                reading=line.client_id if line.client_id in stored else "",
            )
        except ValidationError as error:
            trouble[line.number] = error.messages
        else:
            new += added.created
    return new, trouble
