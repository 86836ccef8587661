"""Authentication of the API: a crew token first, then a browser session."""

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.utils.timezone import now
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.plumbing import build_bearer_security_scheme_object
from knox.auth import TokenAuthentication
from knox.models import AuthToken
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from api.models import CrewToken

SCHEME = "Token"
LAST_USED_RESOLUTION = timedelta(minutes=1)
"""The last use of a token is stored no finer: fewer writes, and less of a trail."""


class CrewTokenAuthentication(TokenAuthentication):  # type: ignore[misc]
    """Authentication by `Authorization: Token …`, with a crew token."""

    def authenticate_credentials(self, token: bytes) -> Any:
        """Look up a token; text that cannot be one is refused without a query."""
        if not token.isalnum():
            msg = "This is not a token. A token has only letters and digits."
            raise AuthenticationFailed(msg)
        person, knox_token = super().authenticate_credentials(token)
        _record_use(knox_token)
        return person, knox_token


def _record_use(token: AuthToken) -> None:
    """Store that a token was used, in one statement."""
    moment = now()
    recent = Q(last_used_at__gt=moment - LAST_USED_RESOLUTION)
    crew_tokens = CrewToken.objects.filter(token=token).exclude(recent)
    crew_tokens.update(last_used_at=moment)


class PasswordOrSessionAuthentication(SessionAuthentication):
    """Authentication by session only: a token cannot create another token."""

    def authenticate_header(self, request: Request) -> str:
        """Return a scheme, so that an anonymous request gets 401 and not 403."""
        return SCHEME


class CrewTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """OpenAPI security scheme of a crew token."""

    target_class = "api.authentication.CrewTokenAuthentication"
    name = "crewToken"

    def get_security_definition(self, auto_schema: Any) -> Any:
        """Return the scheme of the header."""
        return build_bearer_security_scheme_object(
            header_name="Authorization",
            token_prefix=SCHEME,
        )


class PasswordOrSessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """OpenAPI security scheme of a session where a password may stand in."""

    target_class = "api.authentication.PasswordOrSessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> Any:
        """Return the scheme of the cookie."""
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
