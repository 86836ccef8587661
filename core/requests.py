"""What a page is given."""

from django.http import HttpRequest

from core.models import Person


class PersonRequest(HttpRequest):
    """A request of somebody signed in, as `LoginRequiredMiddleware` sees to it.

    A name for the type checker: annotate a view's request with it wherever the view is
    not marked `login_not_required`.
    """

    user: Person
