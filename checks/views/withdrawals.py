"""Withdrawal of a reading from the page of its check."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from checks.models import Reading
from checks.services.errors import ConflictError
from checks.services.withdrawals import withdraw_reading
from checks.views.readings import get_visible_building
from core.requests import AuthenticatedRequest


@require_POST
def withdraw(request: AuthenticatedRequest, pk: int, reading: int) -> HttpResponse:
    """Withdraw a reading, and show its check again."""
    building = get_visible_building(request, pk)
    row = get_object_or_404(Reading, building=building, pk=reading)
    try:
        withdraw_reading(
            actor=request.user, reading=row, reason=request.POST.get("reason", "")
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    except ConflictError as error:
        messages.warning(request, str(error))
    else:
        messages.success(request, "Reading withdrawn.")
    return redirect("checks:check", building.pk, row.check_key)
