"""How every figure is worked out."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from checks.methods import catalogue
from checks.methods.model import MARKS_MEAN
from core.requests import PersonRequest


@require_GET
def methods(request: PersonRequest) -> HttpResponse:
    """Show every computation, folded."""
    context = {"families": catalogue.FAMILIES, "marks": MARKS_MEAN}
    return render(request, "checks/methods.html", context)


@require_GET
def method(request: PersonRequest, slug: str) -> HttpResponse:
    """Show one computation, with the ones before and after it."""
    found = catalogue.find_method(slug)
    if found is None:
        raise Http404
    before, after = catalogue.beside(found)
    context = {"method": found, "before": before, "after": after, "marks": MARKS_MEAN}
    return render(request, "checks/method.html", context)
