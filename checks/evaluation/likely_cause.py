"""A likely cause: one mistake that would explain what was read."""

from dataclasses import dataclass
from enum import StrEnum

from jobs.exchange.result.findings import LikelyCauseResult


class CauseKind(StrEnum):
    """A mistake that people make, as the result document names it."""

    MISREAD = "misread"
    FOOT_MARK = "foot_mark"
    OTHER_CORNER = "other_corner"
    OUTER_EDGE = "outer_edge"
    FLANGE_NOT_WEB = "flange_not_web"
    ROD_EDGE = "rod_edge"
    EXCHANGED = "exchanged"
    WRONG_SIDE = "wrong_side"
    DETAIL_TURNED = "detail_turned"
    ROD_UPSIDE_DOWN = "rod_upside_down"
    SETUP_KNOCKED = "setup_knocked"


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyCause:
    """A mistake that would explain some readings. A hint: it changes no number."""

    cause: CauseKind
    checks: tuple[str, ...]
    readings: tuple[str, ...]
    explanation: str

    def as_result(self) -> LikelyCauseResult:
        """Return a finding's `likely_cause` of the result document."""
        return {
            "cause": self.cause.value,
            "checks": list(self.checks),
            "readings": list(self.readings),
            "explanation": self.explanation,
        }
