"""What a phone needs where there is no network: a worker, a page, a way in.

The worker keeps the walk's pages and their files; the page is what it shows where it
has nothing else; the way in takes what the phone kept, once for each reading.
"""

import hashlib
import json
import logging
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET, require_POST

from checks.services.evaluation import evaluate_building
from checks.services.readings import RecordedReadings, record_readings
from checks.views.readings import get_visible_building
from core.requests import AuthenticatedRequest
from jobs.models import Building

logger = logging.getLogger(__name__)

SERVICE_WORKER_SCRIPT = "checks/service-worker.js"
OFFLINE_FILES = (
    "core/base.css",
    "core/components.css",
    "core/drawing.css",
    "core/print.css",
    "core/logo.svg",
    "core/base.js",
    "django_htmx/htmx-2.min.js",
    "checks/records.css",
    "checks/measure.css",
    "checks/lengths.js",
    "checks/reading-outbox.js",
    "checks/photo-outbox.js",
    "checks/photo-resize.js",
    "checks/sync.js",
    "checks/outbox-banner.js",
    "checks/local-verdict.js",
    "checks/keypad.js",
    "checks/reading-form.js",
    "checks/photo-capture.js",
    "checks/measure-page.js",
    "checks/offline-page.js",
)
MAX_READINGS_PER_REQUEST = 200
POINTER_INDEX = 2  # "/readings/3/value": the place stands third


@login_not_required
@cache_control(no_cache=True)
@require_GET
def service_worker(request: HttpRequest) -> HttpResponse:
    """Give the service worker: what it is to keep, and the script that keeps it.

    It is served from the root, for a worker may only answer for what lies below it.
    """
    book = {
        "version": get_files_version(),
        "files": [staticfiles_storage.url(name) for name in OFFLINE_FILES],
        "offline": reverse("checks:offline"),
        "signOut": reverse("sign-out"),
    }
    script = (
        f'"use strict";\nself.BOOK = {json.dumps(book)};\n'
        f"importScripts({json.dumps(staticfiles_storage.url(SERVICE_WORKER_SCRIPT))});\n"
    )
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


def get_files_version() -> str:
    """Name the state of the files: the manifest's hash, else one of their content."""
    manifest = getattr(staticfiles_storage, "manifest_hash", "")
    return manifest or (_hash_files.__wrapped__ if settings.DEBUG else _hash_files)()


@lru_cache(maxsize=1)
def _hash_files() -> str:
    digest = hashlib.sha256()
    for name in (*OFFLINE_FILES, SERVICE_WORKER_SCRIPT):
        found = finders.find(name)
        assert isinstance(found, str)  # noqa: S101  # all are of the program
        with open(found, "rb") as file:
            digest.update(file.read())
    return digest.hexdigest()[:12]


@login_not_required
@require_GET
def offline_page(request: HttpRequest) -> HttpResponse:
    """Show what a phone has at hand without a network; of nobody in particular."""
    return render(request, "checks/offline.html", {"navigation": [], "user": None})


@require_POST
def sync_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Take readings a phone kept, and tell by id what became of each.

    The phone names whose readings they are: where somebody else has signed in on it
    since, none is taken.
    """
    building = get_visible_building(request, pk)
    try:
        person, entries = _parse_body(request.body)
    except ValueError as error:
        return JsonResponse({"error": str(error)}, status=400)
    if person != request.user.pk:
        msg = "Somebody else has signed in on this phone; whoever took them sends them."
        return JsonResponse({"error": msg}, status=409)
    try:
        recorded = record_readings(
            actor=request.user, building=building, entries=entries, keep_good=True
        )
    except PermissionDenied as error:
        return JsonResponse({"error": str(error)}, status=403)
    if recorded.repeated and not recorded.stored:
        _evaluate_if_due(building)
    return JsonResponse(_describe_outcome(recorded, entries))


def _parse_body(body: bytes) -> tuple[object, list[dict[str, Any]]]:
    """Read whose readings they are and the readings, each with an id."""
    try:
        sent = json.loads(body)
    except (ValueError, RecursionError):
        raise ValueError("This is not JSON.") from None
    entries = sent.get("readings") if isinstance(sent, dict) else None
    if not isinstance(entries, list) or len(entries) > MAX_READINGS_PER_REQUEST:
        raise ValueError(f"`readings` is a list of at most {MAX_READINGS_PER_REQUEST}.")
    if not all(isinstance(e, dict) and isinstance(e.get("id"), str) for e in entries):
        raise ValueError("Each reading is an object with an `id`.")
    return sent.get("person"), entries


def _evaluate_if_due(building: Building) -> None:
    """Judge what an upload that broke off left unjudged; the sweep tries again."""
    building.refresh_from_db()
    if building.evaluation_due_since is None:
        return
    try:
        evaluate_building(building.pk)
    except Exception:
        logger.exception("Building %s could not be evaluated.", building.pk)


def _describe_outcome(
    recorded: RecordedReadings, entries: list[dict[str, Any]]
) -> dict[str, Any]:
    refused: dict[str, list[str]] = {}
    for refusal in recorded.refused:
        place = int(refusal.pointer.split("/")[POINTER_INDEX])
        refused.setdefault(entries[place]["id"], []).append(refusal.message)
    return {
        "known": [row.client_id for row in recorded.stored + recorded.repeated],
        "refused": refused,
    }
