"""How often something was asked for, counted for all processes together.

Time is cut into windows, and each window has one number that every process adds to
in a single step, so that none is lost where several ask at once. It is kept in Redis
where `CACHE_URL` names one, otherwise in a table of the database; the table also
counts while Redis does not answer.
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
from redis.exceptions import RedisError

from core.models import Tally

CACHE_ALIAS = "tallies"

log = structlog.get_logger("padstone.tallies")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """How many there were in a window, this one included, and what is left of it."""

    number: int
    resets_in_s: float  # until the window ends [s]


def hit(what: str, *, window_s: int) -> Hit:
    """Count one more.

    Parameters
    ----------
    what : what is counted, and whose. Of it a keyed hash alone is stored.
    window_s : how long a window is; all begin at whole multiples of it. [s]
    """
    moment = time.time()
    window = int(moment // window_s)
    ends = (window + 1) * window_s
    # The window is part of the key: no number is ever begun again, and so none can
    # be added to at the moment it expires.
    named = f"{window_s} {window} {what}"
    key = salted_hmac("core.rate_limits", named, algorithm="sha256").hexdigest()
    return Hit(number=_increment(key, ends, window_s), resets_in_s=ends - moment)


def delete_expired_counters() -> None:
    """Throw away the numbers of windows that are over."""
    Tally.objects.filter(ends_at__lt=now()).delete()


def _increment(key: str, ends: int, window_s: int) -> int:
    if CACHE_ALIAS in settings.CACHES:
        try:
            # Kept for a window longer than it lasts, for clocks that disagree.
            caches[CACHE_ALIAS].add(key, 0, timeout=2 * window_s)
            return caches[CACHE_ALIAS].incr(key)
        # A server short of memory may have thrown the number away in between.
        except (RedisError, OSError, ValueError) as fault:
            log.warning("counted in the database instead", fault=str(fault))
    return _increment_in_database(key, datetime.fromtimestamp(ends, UTC))


def _increment_in_database(key: str, ends_at: datetime) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO core_tally AS kept (key, number, ends_at) VALUES (%s, 1, %s)
            ON CONFLICT (key) DO UPDATE SET number = kept.number + 1
            RETURNING number
            """,
            [key, ends_at],
        )
        (number,) = cursor.fetchone()
    return int(number)
