"""Middleware: request ids, one log line per request, and the use of devices."""

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse

from core import devices
from core.logs import mask_token

log = structlog.get_logger("padstone.request")

_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")


def log_requests(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Bind a request id to every log line, and return it in a header."""

    def middleware(request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        request_id = given if _ID.fullmatch(given) else uuid.uuid4().hex
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        began = time.perf_counter()
        response = get_response(request)
        response["X-Request-ID"] = request_id
        if not request.path.startswith(("/health/", "/static/")):
            # The account is logged only if the page loaded it: no query for a log line.
            user = getattr(request, "user", None)
            log.info(
                "request",
                method=request.method,
                path=mask_token(request.path, request),
                status=response.status_code,
                ms=round((time.perf_counter() - began) * 1000, 1),
                person=user.pk if "_cached_user" in vars(request) and user else None,
            )
        return response

    return middleware


def record_devices(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Record the device that a request came from, after it is answered."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        devices.record_device_use(request)
        return response

    return middleware
