"""A likely cause: one mistake that would explain what was read."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyCause:
    """A mistake that would explain some readings. A hint: it changes no number."""

    cause: str
    checks: tuple[str, ...]
    readings: tuple[str, ...]
    explanation: str

    def as_result(self) -> dict[str, Any]:
        """Return a finding's `likely_cause` of the result document."""
        return {
            "cause": self.cause,
            "checks": list(self.checks),
            "readings": list(self.readings),
            "explanation": self.explanation,
        }
