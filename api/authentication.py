"""Who is asking: a crew token first, then a browser's session."""

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
LAST_USED_RESOLUTION = timedelta(minutes=1)  # how fine the last use of a token is


class CrewTokenAuthentication(TokenAuthentication):  # type: ignore[misc]
    """`Authorization: Token …`, with a token that was made for a crew or a program."""

    def authenticate_credentials(self, token: bytes) -> Any:
        """Refuse what cannot be a token before it is looked up."""
        if not token.isalnum():
            msg = "This is no token: one has letters and digits only."
            raise AuthenticationFailed(msg)
        person, found = super().authenticate_credentials(token)
        _record_use(found)
        return person, found


def _record_use(token: AuthToken) -> None:
    """Note that a token was used, at most once a minute; one statement."""
    moment = now()
    lately = Q(last_used_at__gt=moment - LAST_USED_RESOLUTION)
    used = CrewToken.objects.filter(token=token).exclude(lately)
    used.update(last_used_at=moment)


class PasswordOrSessionAuthentication(SessionAuthentication):
    """A session, or else the body names an account; a token makes no other token."""

    def authenticate_header(self, request: Request) -> str:
        """Give a scheme, so that who is not signed in hears 401 and not 403."""
        return SCHEME


class CrewTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the interface's description names a crew token."""

    target_class = "api.authentication.CrewTokenAuthentication"
    name = "crewToken"

    def get_security_definition(self, auto_schema: Any) -> Any:
        """Describe the header."""
        return build_bearer_security_scheme_object(
            header_name="Authorization",
            token_prefix=SCHEME,
        )


class PasswordOrSessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the interface's description names a session where a password serves too."""

    target_class = "api.authentication.PasswordOrSessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> Any:
        """Describe the cookie."""
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
