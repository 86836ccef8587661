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

CLOCK_STEP = timedelta(
    milliseconds=20
)  # so that what follows is later than what it follows

_read_system_time = timezone.now
_simulated_time: ContextVar[datetime | None] = ContextVar("told", default=None)


def read_true_time() -> datetime:
    """Give the time it really is."""
    return _read_system_time()


def set_time(moment: datetime) -> None:
    """Let it be this moment."""
    _simulated_time.set(moment)


def read_time() -> datetime:
    """Give the told time, one tick on; the true time where none is told."""
    told = _simulated_time.get()
    if told is None:
        return _read_system_time()
    told += CLOCK_STEP
    _simulated_time.set(told)
    return told


@contextmanager
def simulate_time(moment: datetime) -> Iterator[None]:
    """Let everybody who asks Django for the time hear what is told."""
    before = _simulated_time.set(moment)
    askers = [
        module
        for module in list(sys.modules.values())
        if getattr(module, "__dict__", {}).get("now") is _read_system_time
    ]
    for module in askers:
        module.__dict__["now"] = read_time
    try:
        yield
    finally:
        for module in askers:
            module.__dict__["now"] = _read_system_time
        _simulated_time.reset(before)
