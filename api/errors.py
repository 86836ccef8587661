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
from checks.services.errors import ConflictError, NotReadyError
from jobs.exchange.reader import DocumentError, step_into

logger = logging.getLogger("padstone.api")

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:padstone:problem:"
RETRY_AFTER_S = 5
Errors = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: the end of its `type`, its status and its title."""

    name: str
    status: int
    title: str


REFUSED = Kind("document-refused", 422, "The document was refused")
NOT_JUDGED = Kind("cannot-be-judged", 422, "These measurements cannot be judged")
INVALID = Kind("invalid", 400, "Something in the request is not right")
UNREADABLE = Kind("unreadable", 400, "The request could not be read")
SIGN_IN = Kind("not-signed-in", 401, "Nobody is signed in")
FORBIDDEN = Kind("not-allowed", 403, "This is not yours to do")
NOT_FOUND = Kind("not-found", 404, "There is nothing here")
METHOD = Kind("method", 405, "This address does not take that method")
NOT_ACCEPTABLE = Kind("not-acceptable", 406, "There is no such form of the answer")
CONFLICT = Kind("conflict", 409, "The record has moved on")
NOT_READY = Kind("not-ready", 409, "Something is still missing")
LENGTH = Kind("length-needed", 411, "The body does not say how long it is")
CHANGED = Kind("changed-meanwhile", 412, "It was changed meanwhile")
TOO_LARGE = Kind("too-large", 413, "The body is too large")
MEDIA = Kind("media-type", 415, "This address does not take that kind of body")
THROTTLED = Kind("too-often", 429, "Too many requests")
FAULT = Kind("fault", 500, "Something broke here")
BUSY = Kind("busy", 503, "The record is busy")

KINDS = {
    kind.status: kind
    for kind in (
        UNREADABLE,
        SIGN_IN,
        FORBIDDEN,
        NOT_FOUND,
        METHOD,
        NOT_ACCEPTABLE,
        CONFLICT,
        LENGTH,
        CHANGED,
        TOO_LARGE,
        MEDIA,
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


class LengthNeeded(exceptions.APIException):
    """A body sent in chunks, which would be read as none at all."""

    status_code = status.HTTP_411_LENGTH_REQUIRED
    default_detail = "Send the body with its Content-Length, not in chunks."


class ChangedMeanwhile(exceptions.APIException):
    """An `If-Match` that names what is not in force any more."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_detail = (
        "What If-Match names is not in force any more; fetch it again, look at what "
        "changed, then send yours."
    )


class ParametersError(exceptions.ValidationError):
    """Parameters of the address that do not fit."""


def problem(
    kind: Kind, detail: str, headers: Mapping[str, str] | None = None, **members: Any
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


def problem_details(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """Turn whatever a view raised into problem details; REST framework's hook."""
    return _refused(exc) or _of_framework(exc) or _fault(exc, context)


def _refused(exc: Exception) -> HttpResponse | None:
    """What the services answer."""
    if isinstance(exc, DocumentError):
        errors = refusals_of(exc.errors)
        count = "1 place" if len(errors) == 1 else f"{len(errors)} places"
        return problem(REFUSED, f"It does not fit in {count}.", errors=errors)
    if isinstance(exc, EngineError):
        return problem(NOT_JUDGED, str(exc))
    if isinstance(exc, NotReadyError):
        missing = [
            {"what": item.what, "holds": item.holds, "keys": list(item.keys)}
            for item in exc.missing
        ]
        return problem(NOT_READY, str(exc), missing=missing)
    if isinstance(exc, ConflictError):
        return problem(CONFLICT, str(exc))
    if isinstance(exc, ValidationError):
        return _invalid(list(_pointed(exc)))
    if isinstance(exc, OperationalError | InterfaceError):
        logger.warning("The database did not serve a request: %s", exc)
        return problem(
            BUSY,
            "The record is in use or out of reach for a moment. Send the same request "
            "again; nothing is stored twice.",
            headers={"Retry-After": str(RETRY_AFTER_S)},
        )
    return None


def _of_framework(exc: Exception) -> HttpResponse | None:
    """What REST framework and Django answer."""
    if isinstance(exc, Http404):
        given = str(exc.args[0]) if exc.args and isinstance(exc.args[0], str) else ""
        return problem(NOT_FOUND, given or "There is nothing at this address for you.")
    if isinstance(exc, PermissionDenied):
        return problem(FORBIDDEN, str(exc) or "You may not do this.")
    if isinstance(exc, exceptions.ValidationError):
        name = "parameter" if isinstance(exc, ParametersError) else "pointer"
        return _invalid(list(_flat(exc.detail, "", name)))
    if not isinstance(exc, exceptions.APIException):
        return None
    headers: dict[str, str] = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    kind = KINDS.get(exc.status_code, UNREADABLE)
    return problem(kind, str(exc.detail), headers)


def _fault(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """Answer a fault of ours, after everyone who watches for one was told."""
    if settings.DEBUG_PROPAGATE_EXCEPTIONS:
        return None
    request = context.get("request")
    logger.exception("A request broke.")
    got_request_exception.send(
        sender=type(context.get("view")), request=getattr(request, "_request", request)
    )
    return problem(
        FAULT,
        "The fault is ours. It is in the log under the X-Request-ID of this answer.",
    )


def _invalid(errors: Errors) -> HttpResponse:
    detail = " ".join(error["message"] for error in errors[:3])
    return problem(INVALID, detail, errors=errors)


def refusals_of(refused: Iterable[Any]) -> Errors:
    """Write refusals with their places."""
    return [{"pointer": each.pointer, "message": each.message} for each in refused]


def _pointed(exc: ValidationError) -> Iterator[dict[str, str]]:
    """Give a service's refusals with the member each is about."""
    if not hasattr(exc, "error_dict"):
        yield from ({"pointer": "", "message": message} for message in exc.messages)
        return
    for name, messages in exc.message_dict.items():
        pointer = "" if name == NON_FIELD_ERRORS else step_into("", name)
        yield from ({"pointer": pointer, "message": message} for message in messages)


def _flat(detail: Any, place: str, name: str) -> Iterator[dict[str, str]]:
    """Flatten REST framework's nested errors into places and messages."""
    if isinstance(detail, Mapping):
        for key, value in detail.items():
            if key == "non_field_errors":
                inner = place
            elif name == "pointer":
                inner = step_into(place, key)
            else:
                inner = str(key)
            yield from _flat(value, inner, name)
    elif isinstance(detail, list):
        for index, value in enumerate(detail):
            nested = isinstance(value, Mapping | list)
            yield from _flat(value, step_into(place, index) if nested else place, name)
    else:
        yield {name: place, "message": str(detail)}
