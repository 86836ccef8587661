"""What a page is given."""

from django.http import HttpRequest

from core.models import Person


def get_query_param(request: HttpRequest, name: str) -> str:
    """Read a text of the address, without the null character, which no text has."""
    return request.GET.get(name, "").replace("\0", "").strip()


class AuthenticatedRequest(HttpRequest):
    """A request of somebody signed in, as `LoginRequiredMiddleware` sees to it.

    A name for the type checker: annotate a view's request with it wherever the view is
    not marked `login_not_required`.
    """

    user: Person
