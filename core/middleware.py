"""Middleware: request ids, one log line per request, and the use of devices."""

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

from core import devices
from core.logs import mask_token

# PDFs, photographs and workbooks are compressed already.
COMPRESSED_TYPES = (
    "text/", "application/json", "application/problem+json", "image/svg+xml",
    "image/vnd.dxf",
)  # fmt: skip

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


class TextCompressionMiddleware(GZipMiddleware):
    """Compresses text, except pages that show a secret.

    The length of a compressed page tells something of a secret in it to whoever can
    have text of their own repeated on that page (BREACH). A CSRF token has another mask
    on every page, and Django adds up to 100 random bytes to each answer. A page that
    shows a token or a link that grants access is `no-store`: it is not compressed.
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        is_text = response.get("Content-Type", "").startswith(COMPRESSED_TYPES)
        if not is_text or "no-store" in response.get("Cache-Control", ""):
            return response
        return super().process_response(request, response)
