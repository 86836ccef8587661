"""Every refusal of the interface as problem details (RFC 9457)."""

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
from jobs.exchange.input.json_reader import DocumentError, join_pointer

logger = logging.getLogger("padstone.api")

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:padstone:problem:"
RETRY_AFTER_S = 5
ErrorList = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One kind of problem: the end of its `type`, its status and its title."""

    name: str
    status: int
    title: str


DOCUMENT_REFUSED = ProblemType("document-refused", 422, "The document was refused")
NOT_COMPUTABLE = ProblemType(
    "cannot-be-judged", 422, "These measurements cannot be judged"
)
INVALID = ProblemType("invalid", 400, "Something in the request is not right")
MALFORMED = ProblemType("unreadable", 400, "The request could not be read")
NOT_AUTHENTICATED = ProblemType("not-signed-in", 401, "Nobody is signed in")
PERMISSION_DENIED = ProblemType("not-allowed", 403, "This is not yours to do")
NOT_FOUND = ProblemType("not-found", 404, "There is nothing here")
METHOD_NOT_ALLOWED = ProblemType(
    "method", 405, "This address does not take that method"
)
NOT_ACCEPTABLE = ProblemType(
    "not-acceptable", 406, "There is no such form of the answer"
)
CONFLICT = ProblemType("conflict", 409, "The record has moved on")
NOT_READY = ProblemType("not-ready", 409, "Something is still missing")
LENGTH_REQUIRED = ProblemType(
    "length-needed", 411, "The body does not say how long it is"
)
PRECONDITION_FAILED = ProblemType("changed-meanwhile", 412, "It was changed meanwhile")
TOO_LARGE = ProblemType("too-large", 413, "The body is too large")
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "media-type", 415, "This address does not take that kind of body"
)
THROTTLED = ProblemType("too-often", 429, "Too many requests")
SERVER_ERROR = ProblemType("fault", 500, "Something broke here")
BUSY = ProblemType("busy", 503, "The record is busy")

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
    """More was sent than the interface takes at once."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, most: int) -> None:
        super().__init__(
            f"At most {most:,} bytes are taken at once; send it in several parts."
        )


class PhotographTooLarge(exceptions.APIException):
    """A photograph that is larger than any is taken."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, most: int) -> None:
        super().__init__(f"A photograph has at most {most:,} bytes; send it smaller.")


class LengthRequired(exceptions.APIException):
    """A body sent in chunks, which would be read as none at all."""

    status_code = status.HTTP_411_LENGTH_REQUIRED
    default_detail = "Send the body with its Content-Length, not in chunks."


class PreconditionFailed(exceptions.APIException):
    """An `If-Match` that names what is not in force any more."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_detail = (
        "What If-Match names is not in force any more; fetch it again, look at what "
        "changed, then send yours."
    )


class QueryError(exceptions.ValidationError):
    """Parameters of the address that do not fit."""


def problem_response(
    kind: ProblemType,
    detail: str,
    headers: Mapping[str, str] | None = None,
    **members: Any,
) -> HttpResponse:
    """Write one problem; `members` are what this kind says besides."""
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
    """Turn whatever a view raised into problem details; REST framework's hook."""
    return (
        _service_problem(exc) or _framework_problem(exc) or _server_error(exc, context)
    )


def _service_problem(exc: Exception) -> HttpResponse | None:
    """What the services answer."""
    if isinstance(exc, DocumentError):
        errors = list_issues(exc.issues)
        count = "1 place" if len(errors) == 1 else f"{len(errors)} places"
        return problem_response(
            DOCUMENT_REFUSED, f"It does not fit in {count}.", errors=errors
        )
    if isinstance(exc, EngineError):
        return problem_response(NOT_COMPUTABLE, str(exc))
    if isinstance(exc, NotReadyError):
        missing = [
            {
                "what": describe_requirement(item.code, item.keys, item.detail),
                "holds": item.blocks,
                "keys": list(item.keys),
            }
            for item in exc.missing
        ]
        listed = "; ".join(item["what"] for item in missing)
        detail = f"{ReleaseKind(exc.kind).label} is blocked by: {listed}."
        return problem_response(NOT_READY, detail, missing=missing)
    if isinstance(exc, ConflictError):
        return problem_response(CONFLICT, str(exc))
    if isinstance(exc, ValidationError):
        return _invalid_request(list(_validation_errors(exc)))
    if isinstance(exc, OperationalError | InterfaceError):
        logger.warning("The database did not serve a request: %s", exc)
        return problem_response(
            BUSY,
            "The record is in use or out of reach for a moment. Send the same request "
            "again; nothing is stored twice.",
            headers={"Retry-After": str(RETRY_AFTER_S)},
        )
    return None


def _framework_problem(exc: Exception) -> HttpResponse | None:
    """What REST framework and Django answer."""
    if isinstance(exc, Http404):
        given = str(exc.args[0]) if exc.args and isinstance(exc.args[0], str) else ""
        return problem_response(
            NOT_FOUND, given or "There is nothing at this address for you."
        )
    if isinstance(exc, PermissionDenied):
        return problem_response(PERMISSION_DENIED, str(exc) or "You may not do this.")
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
    kind = PROBLEM_TYPES.get(exc.status_code, MALFORMED)
    return problem_response(kind, str(exc.detail), headers)


def _server_error(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """Answer a fault of ours, after everyone who watches for one was told."""
    if settings.DEBUG_PROPAGATE_EXCEPTIONS:
        return None
    request = context.get("request")
    logger.exception("A request broke.")
    got_request_exception.send(
        sender=type(context.get("view")), request=getattr(request, "_request", request)
    )
    return problem_response(
        SERVER_ERROR,
        "The fault is ours. It is in the log under the X-Request-ID of this answer.",
    )


def _invalid_request(errors: ErrorList) -> HttpResponse:
    detail = " ".join(error["message"] for error in errors[:3])
    return problem_response(INVALID, detail, errors=errors)


def list_issues(refused: Iterable[Any]) -> ErrorList:
    """Write refusals with their places."""
    return [{"pointer": each.pointer, "message": each.message} for each in refused]


def _validation_errors(exc: ValidationError) -> Iterator[dict[str, str]]:
    """Give a service's refusals with the member each is about."""
    if not hasattr(exc, "error_dict"):
        yield from ({"pointer": "", "message": message} for message in exc.messages)
        return
    for name, messages in exc.message_dict.items():
        pointer = "" if name == NON_FIELD_ERRORS else join_pointer("", name)
        yield from ({"pointer": pointer, "message": message} for message in messages)


def _flatten_errors(detail: Any, place: str, name: str) -> Iterator[dict[str, str]]:
    """Flatten REST framework's nested errors into places and messages."""
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
