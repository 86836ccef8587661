"""Measuring without a network: the service worker, its fallback page, the upload.

The worker keeps the pages of the walk and their files; the fallback page is shown where
no page is kept; the upload stores the readings of a phone's outbox, each once.
"""

import json
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET, require_POST

from checks.forms.reading_rows import find_entry_index
from checks.services.readings import RecordedReadings, record_readings
from checks.views.offline_files import (
    SERVICE_WORKER_SCRIPT,
    get_files_version,
    list_offline_files,
)
from checks.views.readings import get_visible_building
from core.requests import AuthenticatedRequest

MAX_READINGS_PER_REQUEST = 200


@login_not_required
@cache_control(no_cache=True)
@require_GET
def service_worker(request: HttpRequest) -> HttpResponse:
    """Return the service worker with the list of the files it keeps.

    Served from the root: a service worker controls only pages below its own URL.
    """
    settings = {
        "version": get_files_version(),
        "files": [staticfiles_storage.url(name) for name in list_offline_files()],
        "page": reverse("checks:offline"),
        "signOut": reverse("sign-out"),
    }
    script = (
        f'"use strict";\nself.OFFLINE = {json.dumps(settings)};\n'
        f"importScripts({json.dumps(staticfiles_storage.url(SERVICE_WORKER_SCRIPT))});\n"
    )
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@login_not_required
@require_GET
def offline_page(request: HttpRequest) -> HttpResponse:
    """Show the fallback page, which contains no user data."""
    return render(request, "checks/offline.html", {"navigation": [], "user": None})


@require_POST
def sync_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Store the readings of a phone's outbox; return the outcome by their ids.

    The phone names the person who took them: where another person has signed in on it
    since, nothing is stored.
    """
    building = get_visible_building(request, pk)
    try:
        person, entries = _parse_body(request.body)
    except ValueError as error:
        return JsonResponse({"error": str(error)}, status=400)
    if person != request.user.pk:
        msg = (
            "Another person has signed in on this phone. Whoever took the readings "
            "must sign in to send them."
        )
        return JsonResponse({"error": msg}, status=409)
    try:
        recorded = record_readings(
            actor=request.user, building=building, entries=entries, keep_good=True
        )
    except PermissionDenied as error:
        return JsonResponse({"error": str(error)}, status=403)
    outcome = _describe_outcome(recorded, entries)
    if outcome["known"] and recorded.evaluation is None:
        state = reverse("checks:evaluation_state", args=[building.pk])
        outcome["follow_up"] = f"{state}?change={recorded.change}"
    return JsonResponse(outcome)


@require_GET
def evaluation_state(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Return whether an evaluation has seen a change; a phone asks for its verdict."""
    building = get_visible_building(request, pk)
    asked = request.GET.get("change", "")
    change = int(asked) if asked.isascii() and asked.isdigit() else None
    if change is None:
        change = building.change_number
    return JsonResponse({"evaluated": building.evaluated_change >= change})


def _parse_body(body: bytes) -> tuple[object, list[dict[str, Any]]]:
    """Return the person named in the body and the entries, each with an id."""
    try:
        sent = json.loads(body)
    except (ValueError, RecursionError):
        raise ValueError("The body is not JSON.") from None
    entries = sent.get("readings") if isinstance(sent, dict) else None
    if not isinstance(entries, list) or len(entries) > MAX_READINGS_PER_REQUEST:
        raise ValueError(
            f"`readings` must be a list of at most {MAX_READINGS_PER_REQUEST}."
        )
    if not all(isinstance(e, dict) and isinstance(e.get("id"), str) for e in entries):
        raise ValueError("Each reading must be an object with an `id`.")
    return sent.get("person"), entries


def _describe_outcome(
    recorded: RecordedReadings, entries: list[dict[str, Any]]
) -> dict[str, Any]:
    """Return the ids that the record has, and the errors of the others by id."""
    refused: dict[str, list[str]] = {}
    for issue in recorded.refused:
        index = find_entry_index(issue.pointer)
        if index is not None:
            refused.setdefault(entries[index]["id"], []).append(issue.message)
    return {
        "known": [row.client_id for row in recorded.stored + recorded.repeated],
        "refused": refused,
    }
