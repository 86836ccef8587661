"""Rate limits of the API, shared by all processes."""

from typing import TYPE_CHECKING

from rest_framework.request import Request
from rest_framework.throttling import (
    ScopedRateThrottle,
    SimpleRateThrottle,
    UserRateThrottle,
)

from core import rate_limits

if TYPE_CHECKING:  # it imports what this module defines
    from rest_framework.views import APIView


class SharedRateThrottle(SimpleRateThrottle):
    """Counts requests within windows of the rate's length, in `core.rate_limits`."""

    num_requests: int | None
    duration: int | None  # [s]

    def allow_request(self, request: Request, view: "APIView") -> bool:
        """Count a request; return False where it exceeds the rate."""
        key = self.get_cache_key(request, view) if self.rate else None
        if key is None or self.num_requests is None or self.duration is None:
            return True
        self.hit = rate_limits.hit(key, window_s=self.duration)
        return self.hit.count <= self.num_requests

    def wait(self) -> float:
        """Return the time until the next window. [s]"""
        return self.hit.resets_in_s


class PersonRateThrottle(UserRateThrottle, SharedRateThrottle):
    """Rate limit of one person, or of one address without a sign-in."""


class ScopeRateThrottle(ScopedRateThrottle, SharedRateThrottle):
    """Rate limit of one person for the views of one `throttle_scope`."""
