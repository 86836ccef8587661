"""Who is asking, and their tokens."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import PasswordOrSessionAuthentication
from api.base import RecordView, get_visible_or_404, validated_body
from api.examples import TOKEN_EXAMPLES
from api.models import CrewToken
from api.request_serializers import TokenIn
from api.serializers.people import MeOut, NewTokenOut, TokenOut
from api.services import authenticate_person, create_crew_token, revoke_token
from core.models import Person
from jobs.models import Membership


class MeView(RecordView):
    """Who is asking."""

    @extend_schema(
        operation_id="me",
        summary="Who you are here, and your part in each job",
        tags=["people"],
        responses=MeOut,
    )
    def get(self, request: Request) -> Response:
        """Say who."""
        person = self.person
        parts = Membership.objects.of(person).select_related("job")
        token = CrewToken.objects.filter(token=getattr(request.auth, "pk", None))
        told: dict[str, Any] = {
            "username": person.username,
            "name": str(person),
            "email": person.email,
            "role": person.role,
            "parts": parts.order_by("job__number"),
            "token": token.select_related("token").first(),
        }
        return Response(MeOut(told).data)


class TokenListView(RecordView):
    """The asker's own tokens."""

    throttle_scope = "password"

    def get_authenticators(self) -> list[Any]:
        """Let a token list tokens, and make none."""
        if self.request is not None and self.request.method == "POST":
            return [PasswordOrSessionAuthentication()]
        return super().get_authenticators()

    def get_permissions(self) -> list[Any]:
        """Let who has no session sign in with the same request."""
        posts = self.request is not None and self.request.method == "POST"
        return [AllowAny() if posts else IsAuthenticated()]

    def get_throttles(self) -> list[Any]:
        """Count only what tries a password as such."""
        found = super().get_throttles()
        return found if self.request.method == "POST" else found[:1]

    @extend_schema(
        operation_id="tokens",
        summary="Your tokens, by name",
        tags=["people"],
        responses=TokenOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """List them; none shows itself again."""
        found = CrewToken.objects.owned_by(self.person).select_related("token")
        return Response(TokenOut(found, many=True).data)

    @extend_schema(
        operation_id="make_token",
        summary="Make a token for a phone or a program",
        description="With a session, or with name and password in the body. The token "
        "is shown this once, expires by itself, and can be revoked.",
        tags=["people"],
        request=TokenIn,
        responses={201: NewTokenOut},
        examples=TOKEN_EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Make one."""
        wanted = validated_body(TokenIn, request)
        username = wanted.pop("username", None)
        password = wanted.pop("password", None)
        person = request.user
        if username or password or not isinstance(person, Person):
            person = _authenticate_by_password(request, username, password)
        made, text = create_crew_token(actor=person, **wanted)
        answer = NewTokenOut(made, context={"token": text}).data
        return Response(answer, status=status.HTTP_201_CREATED)


class TokenView(RecordView):
    """One of the asker's tokens."""

    @extend_schema(
        operation_id="revoke_token",
        summary="Revoke a token",
        tags=["people"],
        responses={204: None},
    )
    def delete(self, request: Request, pk: str) -> HttpResponse:
        """End it."""
        mine = CrewToken.objects.owned_by(self.person)
        revoke_token(actor=self.person, token=get_visible_or_404(mine, "token", pk=pk))
        return Response(status=status.HTTP_204_NO_CONTENT)


def _authenticate_by_password(
    request: Request, username: str | None, password: str | None
) -> Person:
    if not (username and password):
        msg = "Send username and password, or sign in with the browser first."
        raise NotAuthenticated(msg)
    person = authenticate_person(request._request, username, password)
    if person is None:
        msg = "Name and password do not go together."
        raise AuthenticationFailed(msg)
    return person
