"""The methods: every calculation with its formula, source and example."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from checks.engine.sources import PROVENANCE_MEANINGS
from checks.methods import catalogue
from core.requests import AuthenticatedRequest


@require_GET
def methods(request: AuthenticatedRequest) -> HttpResponse:
    """List every method, folded."""
    context = {"families": catalogue.FAMILIES, "marks": PROVENANCE_MEANINGS}
    return render(request, "checks/methods.html", context)


@require_GET
def method(request: AuthenticatedRequest, slug: str) -> HttpResponse:
    """Show one method, with links to its neighbours."""
    found = catalogue.find_method(slug)
    if found is None:
        raise Http404
    before, after = catalogue.find_neighbours(found)
    context = {
        "method": found,
        "before": before,
        "after": after,
        "marks": PROVENANCE_MEANINGS,
    }
    return render(request, "checks/method.html", context)
