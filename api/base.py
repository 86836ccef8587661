"""Base views and helpers of the API."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from django.conf import settings
from django.db import connection
from django.db.models import Model, QuerySet
from django.http import Http404, HttpResponse
from django.utils.cache import (
    get_conditional_response,
    patch_cache_control,
    patch_vary_headers,
)
from django.utils.http import quote_etag
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny, BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from api.authentication import CrewTokenAuthentication
from api.errors import LengthRequired, PreconditionFailed, QueryError
from api.parsers import StrictJSONParser
from core.models import Person
from jobs.exchange.issues import DocumentError, DocumentIssue

LOCK_TIMEOUT = "10s"
"""A client waits about this long for an answer; then it is told to try again."""

M = TypeVar("M", bound=Model)


class RecordView(APIView):
    """A view on the record: for signed-in people, in no shared cache."""

    authentication_classes: Sequence[type[BaseAuthentication]] = (
        CrewTokenAuthentication,
        SessionAuthentication,
    )
    parser_classes: Sequence[type[BaseParser]] = (StrictJSONParser,)

    @property
    def person(self) -> Person:
        """Return the signed-in person."""
        user = self.request.user
        assert isinstance(user, Person)  # noqa: S101  # by permission
        return user

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse a chunked body, which Django would read as an empty one."""
        super().initial(request, *args, **kwargs)
        if "Transfer-Encoding" in request.headers and not request.META.get(
            "CONTENT_LENGTH"
        ):
            raise LengthRequired

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Any:
        """Mark the response as private to its reader."""
        final = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(final, ["Authorization", "Cookie"])
        patch_cache_control(final, private=True, no_cache=True)
        return final


class PublicView(APIView):
    """A public view: credentials are ignored, wrong ones included."""

    authentication_classes: Sequence[type[BaseAuthentication]] = ()
    permission_classes = (AllowAny,)


class IsAuthenticatedOrOpen(BasePermission):
    """Signed-in people; everybody where `OPEN_EVALUATE` is set."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Check the setting, then the request."""
        return settings.OPEN_EVALUATE or bool(
            request.user and request.user.is_authenticated
        )


def get_visible_or_404(rows: QuerySet[M], noun: str, **lookup: Any) -> M:
    """Return one of the rows that the person may see, or raise 404."""
    row = rows.filter(**lookup).first()
    if row is None:
        msg = f"Your jobs have no such {noun}."
        raise Http404(msg)
    return row


def validated_body(
    serializer: type[Serializer[Any]], request: Request
) -> dict[str, Any]:
    """Return the validated members of a body."""
    body = serializer(data=request.data)
    body.is_valid(raise_exception=True)
    return dict(body.validated_data)


def validated_query(
    serializer: type[Serializer[Any]], request: Request
) -> dict[str, Any]:
    """Return the validated query parameters."""
    query = serializer(data=request.query_params.dict())
    if not query.is_valid():
        raise QueryError(query.errors)
    return dict(query.validated_data)


def conditional_response(request: Request, etag: str) -> HttpResponse | None:
    """Return 304 where the client has this version; None otherwise.

    Raises
    ------
    PreconditionFailed
        If `If-Match` names another version.
    """
    quoted = quote_etag(etag)
    response = get_conditional_response(request._request, etag=quoted)
    if response is None:
        return None
    if response.status_code == PreconditionFailed.status_code:
        raise PreconditionFailed
    response["ETag"] = quoted
    return response


def with_etag(document: Any, etag: str, **headers: str) -> Response:
    """Return a response with a document and its ETag."""
    return Response(document, headers={"ETag": quote_etag(etag), **headers})


def read_document(request: Request) -> dict[str, Any]:
    """Return the exchange document in a body; the parser validates it later.

    Raises
    ------
    DocumentError
        If the body is no object.
    """
    if not isinstance(request.data, dict):
        message = "An exchange document was expected: a JSON object."
        raise DocumentError([DocumentIssue("", message)])
    return request.data


@contextmanager
def lock_timeout() -> Iterator[None]:
    """Limit how long the database waits for a lock within this block."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, false)", [LOCK_TIMEOUT])
    try:
        yield
    finally:
        if connection.connection is not None and not connection.needs_rollback:
            with connection.cursor() as cursor:
                cursor.execute("RESET lock_timeout")
