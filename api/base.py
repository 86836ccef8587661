"""What every view of the interface shares."""

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
from jobs.exchange.input.parser import DocumentError, DocumentIssue

LOCK_TIMEOUT = "10s"
M = TypeVar("M", bound=Model)


class RecordView(APIView):
    """A view on the record: for people signed in, kept in no shared cache."""

    authentication_classes: Sequence[type[BaseAuthentication]] = (
        CrewTokenAuthentication,
        SessionAuthentication,
    )
    parser_classes: Sequence[type[BaseParser]] = (StrictJSONParser,)

    @property
    def person(self) -> Person:
        """Who is asking."""
        user = self.request.user
        assert isinstance(user, Person)  # noqa: S101  # the permission saw to it
        return user

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse a body that would be passed over in silence."""
        super().initial(request, *args, **kwargs)
        if "Transfer-Encoding" in request.headers and not request.META.get(
            "CONTENT_LENGTH"
        ):
            raise LengthRequired

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Any:
        """Let nobody else's cache keep the answer."""
        final = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(final, ["Authorization", "Cookie"])
        patch_cache_control(final, private=True, no_cache=True)
        return final


class PublicView(APIView):
    """A view anybody may ask, whatever they send along to say who they are."""

    authentication_classes: Sequence[type[BaseAuthentication]] = ()
    permission_classes = (AllowAny,)


class IsAuthenticatedOrOpen(BasePermission):
    """Whoever is signed in; everybody where this house has opened the arithmetic."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Ask the setting, then the request."""
        return settings.OPEN_EVALUATE or bool(
            request.user and request.user.is_authenticated
        )


def get_visible_or_404(rows: QuerySet[M], what: str, **wanted: Any) -> M:
    """Give one of the rows this person may see."""
    found = rows.filter(**wanted).first()
    if found is None:
        msg = f"There is no such {what} among your jobs."
        raise Http404(msg)
    return found


def validated_body(
    serializer: type[Serializer[Any]], request: Request
) -> dict[str, Any]:
    """Read a body's members, or refuse them."""
    read = serializer(data=request.data)
    read.is_valid(raise_exception=True)
    return dict(read.validated_data)


def validated_query(
    serializer: type[Serializer[Any]], request: Request
) -> dict[str, Any]:
    """Read the parameters of the address, or refuse them."""
    read = serializer(data=request.query_params.dict())
    if not read.is_valid():
        raise QueryError(read.errors)
    return dict(read.validated_data)


def conditional_response(request: Request, etag: str) -> HttpResponse | None:
    """Give the answer that nothing changed, if that is what was asked.

    Raises
    ------
    ChangedMeanwhile
        If the asker's If-Match names something else.
    """
    quoted = quote_etag(etag)
    answer = get_conditional_response(request._request, etag=quoted)
    if answer is not None and answer.status_code == PreconditionFailed.status_code:
        raise PreconditionFailed
    if answer is not None:
        answer["ETag"] = quoted
    return answer


def with_etag(document: Any, etag: str, **headers: str) -> Response:
    """Answer a document under its tag."""
    return Response(document, headers={"ETag": quote_etag(etag), **headers})


def read_document(request: Request) -> dict[str, Any]:
    """Give the exchange document in a body; what else is refused is the parser's.

    Raises
    ------
    jobs.exchange.parse.DocumentError
        If the body is no object.
    """
    if not isinstance(request.data, dict):
        message = "This has to be an exchange document, a JSON object."
        raise DocumentError([DocumentIssue("", message)])
    return request.data


@contextmanager
def lock_timeout() -> Iterator[None]:
    """Wait for a lock no longer than a client would, rather than for ever."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, false)", [LOCK_TIMEOUT])
    try:
        yield
    finally:
        if connection.connection is not None and not connection.needs_rollback:
            with connection.cursor() as cursor:
                cursor.execute("RESET lock_timeout")
