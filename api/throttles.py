"""How often the interface may be asked: counted for all processes together."""

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
        """Count one request, and say whether it is within the rate."""
        who = self.get_cache_key(request, view) if self.rate else None
        if who is None or self.num_requests is None or self.duration is None:
            return True
        self.hit = rate_limits.hit(who, window_s=self.duration)
        return self.hit.count <= self.num_requests

    def wait(self) -> float:
        """Give how long until the next window. [s]"""
        return self.hit.resets_in_s


class PersonRateThrottle(UserRateThrottle, SharedRateThrottle):
    """All requests of one person, or of one address where nobody is signed in."""


class ScopeRateThrottle(ScopedRateThrottle, SharedRateThrottle):
    """The requests of one person that a view counts as its own, by `throttle_scope`."""
