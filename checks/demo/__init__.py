"""The demo: invented jobs in every stage, measured by simulated crews.

Nothing of Django is imported before `load` is called, so that the crews can be
simulated without a database.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from checks.demo.accounts import SIGN_INS

if TYPE_CHECKING:
    from checks.demo.loader import LoadedDemo

__all__ = ["SIGN_INS", "load"]


def load(progress: Callable[[int, int, str], None] | None = None) -> "LoadedDemo":
    """Load the demo into an empty database; see `checks.demo.loader.load`."""
    from checks.demo import loader

    return loader.load(progress)
