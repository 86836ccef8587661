"""Log of page views."""

from core.requests import AuthenticatedRequest
from jobs.accounts.models import ViewLogEntry
from jobs.accounts.view_log import record_view
from jobs.models import Building

PREFETCH_PURPOSES = ("prefetch", "prerender", "preview")  # fetched before anybody looks
Kind = ViewLogEntry.Kind


def log_view(
    request: AuthenticatedRequest, building: Building, kind: Kind, object_id: int
) -> None:
    """Log a page view, ignoring the prefetches of browsers."""
    purpose = request.headers.get("Sec-Purpose") or request.headers.get("Purpose", "")
    if request.method != "GET" or any(
        word in purpose.lower() for word in PREFETCH_PURPOSES
    ):
        return
    record_view(actor=request.user, building=building, kind=kind, object_id=object_id)
