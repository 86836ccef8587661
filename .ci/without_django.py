"""A pytest plugin under which the web framework cannot be imported.

The arithmetic must run, and be tested, without it.
"""

import sys
from collections.abc import Sequence
from types import ModuleType

REFUSED = {"django", "rest_framework", "celery", "kombu", "psycopg"}


class Refuse:
    """An import finder that turns some packages away."""

    def find_spec(
        self,
        name: str,
        path: Sequence[str] | None = None,
        target: ModuleType | None = None,
    ) -> None:
        if name.partition(".")[0] in REFUSED:
            msg = f"{name!r} is made unimportable for this run"
            raise ModuleNotFoundError(msg, name=name)


sys.meta_path.insert(0, Refuse())
