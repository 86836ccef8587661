"""A simulated time for loading the demo.

The demo's record grows over weeks, but goes in through the services, which read the
time themselves. Only code inside `simulate_time` reads the simulated time; other
threads, and everything afterwards, read the true one. It is used on an empty database
only: no record of a person can be dated back with it.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta

from django.utils import timezone

# Two records of the same moment would have no order.
CLOCK_STEP = timedelta(milliseconds=20)

_read_system_time = timezone.now
_simulated_time: ContextVar[datetime | None] = ContextVar("simulated", default=None)


def read_true_time() -> datetime:
    """Return the true time."""
    return _read_system_time()


def set_time(moment: datetime) -> None:
    """Set the simulated time."""
    _simulated_time.set(moment)


def read_time() -> datetime:
    """Return the simulated time, one step later each time; else the true time."""
    simulated = _simulated_time.get()
    if simulated is None:
        return _read_system_time()
    simulated += CLOCK_STEP
    _simulated_time.set(simulated)
    return simulated


@contextmanager
def simulate_time(moment: datetime) -> Iterator[None]:
    """Replace Django's `now` in every module that imported it."""
    token = _simulated_time.set(moment)
    # `from django.utils.timezone import now` copies the name into each module.
    modules = [
        module
        for module in list(sys.modules.values())
        if getattr(module, "__dict__", {}).get("now") is _read_system_time
    ]
    for module in modules:
        module.__dict__["now"] = read_time
    try:
        yield
    finally:
        for module in modules:
            module.__dict__["now"] = _read_system_time
        _simulated_time.reset(token)
