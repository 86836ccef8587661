"""The signed-in person and their tokens."""

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
    """The signed-in person."""

    @extend_schema(
        operation_id="me",
        summary="Get your account and your role on each job",
        tags=["people"],
        responses=MeOut,
    )
    def get(self, request: Request) -> Response:
        """Return the signed-in person."""
        person = self.person
        parts = Membership.objects.of(person).select_related("job")
        token = CrewToken.objects.filter(token=getattr(request.auth, "pk", None))
        account: dict[str, Any] = {
            "username": person.username,
            "name": str(person),
            "email": person.email,
            "role": person.role,
            "parts": parts.order_by("job__number"),
            "token": token.select_related("token").first(),
        }
        return Response(MeOut(account).data)


class TokenListView(RecordView):
    """The person's own tokens."""

    throttle_scope = "password"

    def get_authenticators(self) -> list[Any]:
        """Return authenticators: a token may list tokens, but not create one."""
        if self.request is not None and self.request.method == "POST":
            return [PasswordOrSessionAuthentication()]
        return super().get_authenticators()

    def get_permissions(self) -> list[Any]:
        """Return permissions: creating a token may sign in with the same request."""
        posts = self.request is not None and self.request.method == "POST"
        return [AllowAny() if posts else IsAuthenticated()]

    def get_throttles(self) -> list[Any]:
        """Return throttles: only attempts at a password count as such."""
        throttles = super().get_throttles()
        return throttles if self.request.method == "POST" else throttles[:1]

    @extend_schema(
        operation_id="tokens",
        summary="List your tokens",
        tags=["people"],
        responses=TokenOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """List the tokens; their texts are not shown."""
        tokens = CrewToken.objects.owned_by(self.person).select_related("token")
        return Response(TokenOut(tokens, many=True).data)

    @extend_schema(
        operation_id="make_token",
        summary="Create a token for a phone or a program",
        description="With a session, or with user name and password in the body. The "
        "token is shown only this once, expires, and can be revoked.",
        tags=["people"],
        request=TokenIn,
        responses={201: NewTokenOut},
        examples=TOKEN_EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Create a token."""
        body = validated_body(TokenIn, request)
        username = body.pop("username", None)
        password = body.pop("password", None)
        person = request.user
        if username or password or not isinstance(person, Person):
            person = _authenticate_by_password(request, username, password)
        made, text = create_crew_token(actor=person, **body)
        answer = NewTokenOut(made, context={"token": text}).data
        return Response(answer, status=status.HTTP_201_CREATED)


class TokenView(RecordView):
    """One of the person's tokens."""

    @extend_schema(
        operation_id="revoke_token",
        summary="Revoke a token",
        tags=["people"],
        responses={204: None},
    )
    def delete(self, request: Request, pk: str) -> HttpResponse:
        """Revoke the token."""
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
        msg = "Wrong user name or password."
        raise AuthenticationFailed(msg)
    return person
