"""A clock that tells another time while the demo is loaded.

The demo's record should look as if it had grown over weeks, yet go in through the
services, which ask the time themselves. Only the code inside `telling` hears the
told time; other threads, and everything afterwards, hear the true one. It is used on
an empty database alone: no record that people made can be dated back with it.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta

from django.utils import timezone

TICK = timedelta(milliseconds=20)  # so that what follows is later than what it follows

_true_now = timezone.now
_told: ContextVar[datetime | None] = ContextVar("told", default=None)


def true_now() -> datetime:
    """Give the time it really is."""
    return _true_now()


def tell(moment: datetime) -> None:
    """Let it be this moment."""
    _told.set(moment)


def now() -> datetime:
    """Give the told time, one tick on; the true time where none is told."""
    told = _told.get()
    if told is None:
        return _true_now()
    told += TICK
    _told.set(told)
    return told


@contextmanager
def telling(moment: datetime) -> Iterator[None]:
    """Let everybody who asks Django for the time hear what is told."""
    before = _told.set(moment)
    askers = [
        module
        for module in list(sys.modules.values())
        if getattr(module, "__dict__", {}).get("now") is _true_now
    ]
    for module in askers:
        module.__dict__["now"] = now
    try:
        yield
    finally:
        for module in askers:
            module.__dict__["now"] = _true_now
        _told.reset(before)
