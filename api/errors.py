"""Error responses of the API: problem details (RFC 9457)."""

import json
import logging
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, ValidationError
from django.core.signals import got_request_exception
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpResponse
from rest_framework import exceptions, status

from checks.engine.errors import EngineError
from checks.labels import describe_requirement
from checks.services.errors import ConflictError, NotReadyError
from core.vocabulary import ReleaseKind
from jobs.exchange.issues import DocumentError, DocumentIssue, join_pointer

logger = logging.getLogger("padstone.api")

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:padstone:problem:"
RETRY_AFTER_S = 5
MAX_LISTED_ERRORS = 3  # messages that `detail` repeats; `errors` has them all
ErrorList = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A type of problem: the end of its `type` URN, its status and its title."""

    name: str
    status: int
    title: str


DOCUMENT_REFUSED = ProblemType("document-refused", 422, "Invalid document")
NOT_COMPUTABLE = ProblemType(
    "cannot-be-judged", 422, "The measurements cannot be evaluated"
)
INVALID = ProblemType("invalid", 400, "Invalid request")
MALFORMED = ProblemType("unreadable", 400, "Malformed request")
NOT_AUTHENTICATED = ProblemType("not-signed-in", 401, "Authentication required")
PERMISSION_DENIED = ProblemType("not-allowed", 403, "Permission denied")
NOT_FOUND = ProblemType("not-found", 404, "Not found")
METHOD_NOT_ALLOWED = ProblemType("method", 405, "Method not allowed")
NOT_ACCEPTABLE = ProblemType("not-acceptable", 406, "Not acceptable")
CONFLICT = ProblemType("conflict", 409, "Conflict: the record changed")
NOT_READY = ProblemType("not-ready", 409, "Not ready: requirements are missing")
LENGTH_REQUIRED = ProblemType("length-needed", 411, "Length required")
PRECONDITION_FAILED = ProblemType("changed-meanwhile", 412, "Precondition failed")
TOO_LARGE = ProblemType("too-large", 413, "Request body too large")
UNSUPPORTED_MEDIA_TYPE = ProblemType("media-type", 415, "Unsupported media type")
THROTTLED = ProblemType("too-often", 429, "Too many requests")
SERVER_ERROR = ProblemType("fault", 500, "Internal server error")
BUSY = ProblemType("busy", 503, "Temporarily unavailable")

PROBLEM_TYPES = {
    kind.status: kind
    for kind in (
        MALFORMED,
        NOT_AUTHENTICATED,
        PERMISSION_DENIED,
        NOT_FOUND,
        METHOD_NOT_ALLOWED,
        NOT_ACCEPTABLE,
        CONFLICT,
        LENGTH_REQUIRED,
        PRECONDITION_FAILED,
        TOO_LARGE,
        UNSUPPORTED_MEDIA_TYPE,
        THROTTLED,
        BUSY,
    )
}


class BodyTooLarge(exceptions.APIException):
    """A body beyond the size limit."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, limit: int) -> None:
        super().__init__(
            f"A body may have {limit:,} bytes at most. Send it in several parts."
        )


class PhotographTooLarge(exceptions.APIException):
    """A photograph beyond the size limit."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, limit: int) -> None:
        super().__init__(
            f"A photograph may have {limit:,} bytes at most. Send a smaller one."
        )


class LengthRequired(exceptions.APIException):
    """A chunked body, which Django would read as an empty one."""

    status_code = status.HTTP_411_LENGTH_REQUIRED
    default_detail = "Send the body with its Content-Length, not in chunks."


class PreconditionFailed(exceptions.APIException):
    """An `If-Match` with an outdated version."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_detail = (
        "The version in If-Match is outdated. Fetch the current version, check what "
        "changed, then send yours again."
    )


class PasswordLockout(exceptions.Throttled):
    """Too many wrong passwords: a right one is refused as well for a while."""


class QueryError(exceptions.ValidationError):
    """Invalid query parameters."""


def problem_response(
    kind: ProblemType,
    detail: str,
    headers: Mapping[str, str] | None = None,
    **members: Any,
) -> HttpResponse:
    """Build the response of a problem; `members` are its additional members."""
    body = {
        "type": TYPE_PREFIX + kind.name,
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        **members,
    }
    # Half a surrogate pair, quoted from a request, has no UTF-8 but an escape in JSON.
    text = json.dumps(body, ensure_ascii=False).encode("utf-8", "backslashreplace")
    return HttpResponse(
        text, status=kind.status, content_type=MEDIA_TYPE, headers=headers
    )


def handle_exception(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """Turn an exception of a view into problem details; REST framework's hook."""
    return (
        _service_problem(exc) or _framework_problem(exc) or _server_error(exc, context)
    )


def _service_problem(exc: Exception) -> HttpResponse | None:
    """Return the problem of an exception that services raise; None for others."""
    if isinstance(exc, DocumentError):
        errors = list_issues(exc.issues)
        detail = f"The document has {count_errors(errors)}."
        return problem_response(DOCUMENT_REFUSED, detail, errors=errors)
    if isinstance(exc, EngineError):
        return problem_response(NOT_COMPUTABLE, str(exc))
    if isinstance(exc, NotReadyError):
        labels = [
            describe_requirement(item.code, item.keys, item.detail)
            for item in exc.missing
        ]
        missing = [
            {"what": label, "holds": item.blocks, "keys": list(item.keys)}
            for label, item in zip(labels, exc.missing, strict=True)
        ]
        release = ReleaseKind(exc.kind).label
        detail = f"{release} is blocked by: {'; '.join(labels)}."
        return problem_response(NOT_READY, detail, missing=missing)
    if isinstance(exc, ConflictError):
        return problem_response(CONFLICT, str(exc))
    if isinstance(exc, ValidationError):
        return _invalid_request(list(_validation_errors(exc)))
    if isinstance(exc, OperationalError | InterfaceError):
        logger.warning("The database did not serve a request: %s", exc)
        return problem_response(
            BUSY,
            "The record is locked or the database is not reachable. Send the same "
            "request again: nothing is stored twice.",
            headers={"Retry-After": str(RETRY_AFTER_S)},
        )
    return None


def _framework_problem(exc: Exception) -> HttpResponse | None:
    """Return the problem of an exception of Django or REST framework."""
    if isinstance(exc, Http404):
        message = exc.args[0] if exc.args and isinstance(exc.args[0], str) else ""
        return problem_response(
            NOT_FOUND, message or "Nothing you may see is at this address."
        )
    if isinstance(exc, PermissionDenied):
        return problem_response(
            PERMISSION_DENIED, str(exc) or "You do not have permission for this."
        )
    if isinstance(exc, exceptions.ValidationError):
        name = "parameter" if isinstance(exc, QueryError) else "pointer"
        return _invalid_request(list(_flatten_errors(exc.detail, "", name)))
    if not isinstance(exc, exceptions.APIException):
        return None
    headers: dict[str, str] = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    # A status that is not in the table is the client's error, never a 500.
    kind = PROBLEM_TYPES.get(exc.status_code, MALFORMED)
    return problem_response(kind, _describe_framework_error(exc), headers)


def _describe_framework_error(exc: exceptions.APIException) -> str:
    """Return the detail of a framework's error, in place of its default words."""
    if isinstance(exc, exceptions.Throttled):
        wait_s = int(getattr(exc, "wait", 0) or 0) + 1
        minutes = -(-wait_s // 60)
        count = f"{wait_s} seconds" if wait_s < 60 else f"{minutes} minutes"
        locked = isinstance(exc, PasswordLockout)
        reason = "Too many wrong passwords." if locked else "Too many requests."
        return f"{reason} Try again in {'1 minute' if count == '1 minutes' else count}."
    if isinstance(exc, exceptions.MethodNotAllowed):
        return "This address does not support the method. See the Allow header."
    if isinstance(exc, exceptions.UnsupportedMediaType):
        return "This address does not accept this type of body. See the API docs."
    if isinstance(exc, exceptions.NotAcceptable):
        return "The response is not available in the type that Accept asks for."
    if (
        isinstance(exc, exceptions.NotAuthenticated)
        and exc.detail == exc.default_detail
    ):
        return "Sign in, or send a crew token."
    return str(exc.detail)


def _server_error(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """Log a programming error, send the signal, and return a 500 without details."""
    # Tests want the traceback, not a 500.
    if settings.DEBUG_PROPAGATE_EXCEPTIONS:
        return None
    request = context.get("request")
    logger.exception("A request failed.")
    # Django sends this only for exceptions that leave the view; this one does not.
    got_request_exception.send(
        sender=type(context.get("view")), request=getattr(request, "_request", request)
    )
    return problem_response(
        SERVER_ERROR,
        "This is our error. Report it with the X-Request-ID of this response.",
    )


def _invalid_request(errors: ErrorList) -> HttpResponse:
    detail = " ".join(error["message"] for error in errors[:MAX_LISTED_ERRORS])
    return problem_response(INVALID, detail, errors=errors)


def count_errors(errors: ErrorList) -> str:
    """Return the count of errors for a sentence."""
    return "1 error" if len(errors) == 1 else f"{len(errors)} errors"


def list_issues(issues: Iterable[DocumentIssue]) -> ErrorList:
    """List document issues, each with its JSON Pointer."""
    return [{"pointer": issue.pointer, "message": issue.message} for issue in issues]


def _validation_errors(exc: ValidationError) -> Iterator[dict[str, str]]:
    """Yield the errors of a service, each with the pointer of its member."""
    if not hasattr(exc, "error_dict"):
        yield from ({"pointer": "", "message": message} for message in exc.messages)
        return
    for name, messages in exc.message_dict.items():
        pointer = "" if name == NON_FIELD_ERRORS else join_pointer("", name)
        yield from ({"pointer": pointer, "message": message} for message in messages)


def _flatten_errors(detail: Any, place: str, name: str) -> Iterator[dict[str, str]]:
    """Flatten REST framework's nested errors.

    `name` is the member that holds the place: `pointer` or `parameter`.
    """
    if isinstance(detail, Mapping):
        for key, value in detail.items():
            if key == "non_field_errors":
                inner = place
            elif name == "pointer":
                inner = join_pointer(place, key)
            else:
                inner = str(key)
            yield from _flatten_errors(value, inner, name)
    elif isinstance(detail, list):
        for index, value in enumerate(detail):
            nested = isinstance(value, Mapping | list)
            yield from _flatten_errors(
                value, join_pointer(place, index) if nested else place, name
            )
    else:
        yield {name: place, "message": str(detail)}
