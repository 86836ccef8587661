"""What a service answers when the record does not allow what was asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from checks.services.hold_points import MissingRequirement


class ConflictError(Exception):
    """The record moved on since the asker looked at it; look again, then decide."""


class NotReadyError(Exception):
    """A release is asked for while something is still missing.

    Attributes
    ----------
    missing : everything that stands between the building and the release.
    """

    def __init__(self, kind: str, missing: Sequence[MissingRequirement]) -> None:
        self.kind = kind
        self.missing = tuple(missing)
        what = "; ".join(item.what for item in self.missing)
        super().__init__(f"The {kind} waits for: {what}.")
