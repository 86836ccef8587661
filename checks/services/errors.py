"""Refusals of the services, each with a code."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from checks.services.hold_points import MissingRequirement


class ConflictCode(StrEnum):
    """Why the record does not allow what was asked any more."""

    ALREADY_DECIDED = "already_decided"
    ALREADY_REQUESTED = "already_requested"
    ALREADY_SIGNED = "already_signed"
    CHANGED_SINCE = "changed_since"
    CLOSED = "closed"
    DECISION_OUTDATED = "decision_outdated"
    DECISION_REPLACED = "decision_replaced"
    NOT_DECIDED = "not_decided"
    NOT_EVALUATED = "not_evaluated"
    READING_REPLACED = "reading_replaced"
    READING_WITHDRAWN = "reading_withdrawn"


class ConflictError(Exception):
    """The record changed since it was looked at."""

    def __init__(self, message: str, code: ConflictCode) -> None:
        self.code = code
        super().__init__(message)


class OwnReadingsError(PermissionDenied):
    """Somebody wants to decide on readings that they recorded themselves."""

    code = "own_readings"

    def __init__(self) -> None:
        super().__init__(
            "You recorded readings of this finding. Somebody else decides on it."
        )


class NotReadyError(Exception):
    """A release is asked for while something is missing.

    Attributes
    ----------
    kind : the release that is asked for.
    missing : everything that it waits for.
    """

    def __init__(self, kind: str, missing: Sequence[MissingRequirement]) -> None:
        self.kind = kind
        self.missing = tuple(missing)
        codes = ", ".join(item.code for item in self.missing)
        super().__init__(f"The {kind} release waits for: {codes}.")
