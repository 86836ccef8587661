"""Who is asking: a crew token first, then a browser's session."""

from typing import Any

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.plumbing import build_bearer_security_scheme_object
from knox.auth import TokenAuthentication
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

SCHEME = "Token"


class CrewTokenAuthentication(TokenAuthentication):  # type: ignore[misc]
    """`Authorization: Token …`, with a token that was made for a crew or a program."""

    def authenticate_credentials(self, token: bytes) -> Any:
        """Refuse what cannot be a token before it is looked up."""
        if not token.isalnum():
            msg = "This is no token: one has letters and digits only."
            raise AuthenticationFailed(msg)
        return super().authenticate_credentials(token)


class PasswordOrSession(SessionAuthentication):
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

    target_class = "api.authentication.PasswordOrSession"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> Any:
        """Describe the cookie."""
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
