"""Request helpers."""

from django.http import HttpRequest

from core.models import Person


def get_query_param(request: HttpRequest, name: str) -> str:
    """Return a query parameter, stripped, with NUL removed."""
    return request.GET.get(name, "").replace("\0", "").strip()


class AuthenticatedRequest(HttpRequest):
    """A request of a person who is signed in, as `LoginRequiredMiddleware` ensures.

    For the type checker: annotate the request of every view with it that is not marked
    `login_not_required`.
    """

    user: Person
