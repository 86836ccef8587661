"""Rate counters shared by all processes.

Time is divided into windows, and each window has one counter that every process
increments atomically, so that no simultaneous request is lost. The counters are in
Redis if `CACHE_URL` names one, otherwise in a table of the database; the table also
serves while Redis is down.
"""

import time
from dataclasses import dataclass
from datetime import UTC, datetime

import structlog
from django.conf import settings
from django.core.cache import caches
from django.db import connection
from django.utils.crypto import salted_hmac
from django.utils.timezone import now

from core.models import RateCounter

CACHE_ALIAS = "rate_limits"

log = structlog.get_logger("padstone.rate_limits")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """The hits in a window, this one included, and the rest of the window."""

    count: int
    resets_in_s: float  # until the window ends [s]


def hit(subject: str, *, window_s: int) -> Hit:
    """Count one hit in the current window.

    Parameters
    ----------
    subject : what is counted, and for whom; only a keyed hash of it is stored.
    window_s : length of a window; windows start at whole multiples of it. [s]
    """
    moment = time.time()
    window = int(moment // window_s)
    ends = (window + 1) * window_s
    # The window is part of the key, so that no counter is reset, and none can be
    # incremented at the moment it expires.
    name = f"{window_s} {window} {subject}"
    key = salted_hmac("core.rate_limits", name, algorithm="sha256").hexdigest()
    return Hit(count=_increment(key, ends, window_s), resets_in_s=ends - moment)


def delete_expired_counters() -> None:
    """Delete the counters of windows that are over."""
    RateCounter.objects.filter(ends_at__lt=now()).delete()


def _increment(key: str, ends: int, window_s: int) -> int:
    if CACHE_ALIAS in settings.CACHES:
        try:
            # One window longer than it lasts, because clocks differ.
            caches[CACHE_ALIAS].add(key, 0, timeout=2 * window_s)
            return caches[CACHE_ALIAS].incr(key)
        # A server short of memory may have evicted the key in between.
        except _list_cache_errors() as fault:
            log.warning("Redis failed, counting in the database", fault=str(fault))
    return _increment_in_database(key, datetime.fromtimestamp(ends, UTC))


def _list_cache_errors() -> tuple[type[Exception], ...]:
    """List what a cache that is down raises; where it is up, Redis stays unloaded."""
    from redis.exceptions import RedisError

    return RedisError, OSError, ValueError


def _increment_in_database(key: str, ends_at: datetime) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO core_ratecounter AS kept (key, count, ends_at)
            VALUES (%s, 1, %s)
            ON CONFLICT (key) DO UPDATE SET count = kept.count + 1
            RETURNING count
            """,
            [key, ends_at],
        )
        (count,) = cursor.fetchone()
    return int(count)
