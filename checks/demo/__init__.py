"""The demo: invented jobs in every stage, measured by simulated crews.

Nothing of Django is imported before `load` is called, so that the crews can be
simulated without a database.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from checks.demo.people import SIGN_INS

if TYPE_CHECKING:
    from checks.demo.scenario import Loaded

__all__ = ["SIGN_INS", "load"]


def load(progress: Callable[[int, int, str], None] | None = None) -> "Loaded":
    """Fill an empty database with the demo; see `checks.demo.scenario.load`."""
    from checks.demo import scenario

    return scenario.load(progress)
