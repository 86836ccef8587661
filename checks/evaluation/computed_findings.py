"""A computed finding: what is out of tolerance, its likely cause and its remedies."""

from dataclasses import dataclass
from typing import cast

from checks.engine.remedies.remedy import Advice, Remedy
from checks.evaluation.finding_topics import FindingTopic
from checks.evaluation.json_values import to_json_number
from checks.evaluation.likely_cause import LikelyCause
from jobs.exchange.result.findings import FindingResult, RemedyResult


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputedFinding:
    """One thing that needs a decision.

    `consequences` are topics that would be findings, but vanish once this one is set
    right.
    """

    topic: FindingTopic
    checks: tuple[str, ...]
    advice: Advice
    cause: LikelyCause | None
    consequences: tuple[FindingTopic, ...] = ()

    def as_result(self) -> FindingResult:
        """Return an entry of the result document's `findings`."""
        return {
            "finding": self.topic,
            "checks": list(self.checks),
            "approval": self.advice.remedies[0].approval.value,
            "likely_cause": None if self.cause is None else self.cause.as_result(),
            "remedies": [_remedy_result(remedy) for remedy in self.advice.remedies],
            "ruled_out": [
                {"remedy": kind.value, "reason": reason}
                for kind, reason in self.advice.ruled_out
            ],
            "consequences": list(self.consequences),
        }


def _remedy_result(remedy: Remedy) -> RemedyResult:
    """Return one remedy of the result document; NaN becomes None."""
    quantities = {
        key: to_json_number(value) if isinstance(value, float) else value
        for key, value in remedy.quantities.items()
    }
    members = {
        "remedy": remedy.kind.value,
        **quantities,
        "approval": remedy.approval.value,
        "reason": remedy.reason,
        "cautions": list(remedy.cautions),
    }
    if remedy.why_second:
        members["why_second"] = remedy.why_second
    # Each kind of remedy has quantities of its own: only the schema can check them.
    return cast("RemedyResult", members)
