"""Look-ups by key and mark in a result document, for drawings and their tables."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import cast

from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.result.document import (
    CheckResult,
    LimitResult,
    PlatePlacementResult,
    PositionResult,
    ResultDocument,
    RodResult,
    SquarenessResult,
    TolerancesResult,
)
from jobs.exchange.result.findings import FindingResult
from jobs.exchange.result.levels import LevelsResult, PadResult
from jobs.exchange.result.next_readings import NextReadingResult

VERDICT_RANK = {
    Verdict.WITHIN: 0,
    Verdict.UNMEASURED: 1,
    Verdict.REMEASURE: 2,
    Verdict.OUTSIDE: 3,
}
POSITION_KINDS = frozenset(
    {
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
        CheckKind.GAGE,
        CheckKind.PROJECTION,
    }
)


def get_worst_verdict(verdicts: Iterable[str]) -> Verdict:
    """Return the gravest of some verdicts; `unmeasured` where there are none."""
    return max(
        (Verdict(verdict) for verdict in verdicts),
        key=lambda verdict: VERDICT_RANK[verdict],
        default=Verdict.UNMEASURED,
    )


def find_limit(tolerances: TolerancesResult, key: str) -> LimitResult | None:
    """Return the limit with a key; None where the basis has no such limit."""
    limits = cast("Mapping[str, LimitResult]", tolerances)
    return limits.get(key)


@dataclass(frozen=True)
class ResultView:
    """One result document, or none yet; look-ups have an answer for missing parts."""

    result: ResultDocument | None

    @cached_property
    def checks(self) -> dict[str, CheckResult]:
        """Every check, by its key."""
        return (
            {row["check"]: row for row in self.result["checks"]} if self.result else {}
        )

    @cached_property
    def positions(self) -> dict[str, PositionResult]:
        """Every position that was computed, by its mark."""
        rows = self.result["positions"] if self.result else []
        return {row["mark"]: row for row in rows}

    @cached_property
    def pads(self) -> dict[str, PadResult]:
        """Every levelled pad, by its mark."""
        levels = self.levels
        return {row["mark"]: row for row in levels["pads"]} if levels else {}

    @property
    def levels(self) -> LevelsResult | None:
        """The levels; None where no level was read."""
        return self.result["levels"] if self.result else None

    @property
    def squareness(self) -> SquarenessResult | None:
        """The adjusted outline; None where it was not computed."""
        return self.result["squareness"] if self.result else None

    @property
    def findings(self) -> list[FindingResult]:
        """The findings, in the order of the document."""
        return self.result["findings"] if self.result else []

    @property
    def next_readings(self) -> list[NextReadingResult]:
        """Readings to take next, the best first; none where nothing is worth it."""
        return self.result.get("next_readings", []) if self.result else []

    def get_finding(self, topic: str) -> FindingResult | None:
        """Return the finding on a topic; None where there is none."""
        return next((row for row in self.findings if row["finding"] == topic), None)

    def get_rods(self, mark: str) -> list[RodResult]:
        """Return the rods of a position; none where it was not computed."""
        entry = self.positions.get(mark)
        return entry["rods"] if entry else []

    def get_plate_fit(self, mark: str) -> PlatePlacementResult | None:
        """Return the placement that decides whether a plate goes on; None without one.

        Results stored before placements were bounded have the free one alone.
        """
        entry = self.positions.get(mark)
        fit = entry.get("plate_fit") if entry else None
        return fit.get("bounded", fit) if fit else None

    def get_limit(self, key: str) -> float | None:
        """Return a limit of the tolerance basis, where it is one length. [mm]"""
        rule = find_limit(self.result["tolerances"], key) if self.result else None
        return rule.get("value") if rule else None

    def get_verdict(self, key: str) -> Verdict:
        """Return the verdict of one check."""
        check = self.checks.get(key)
        return Verdict(check["verdict"]) if check else Verdict.UNMEASURED

    def get_checks_at(self, mark: str) -> list[CheckResult]:
        """Return the checks of one position, in the order of the document."""
        return self._checks_by_mark.get(mark, [])

    def get_position_verdict(self, mark: str) -> Verdict:
        """Return the gravest verdict on a position's line, rods and projections.

        A gage is listed but not required, so one that was not measured does not count.
        """
        return get_worst_verdict(
            check["verdict"]
            for check in self.get_checks_at(mark)
            if check["kind"] in POSITION_KINDS
            and not (
                check["kind"] == CheckKind.GAGE
                and check["verdict"] == Verdict.UNMEASURED
            )
        )

    def count_verdicts(self) -> dict[str, Counter[str]]:
        """Count the verdicts of each kind of check, kinds in their order."""
        kinds: dict[str, Counter[str]] = {}
        for check in self.checks.values():
            kinds.setdefault(check["kind"], Counter())[check["verdict"]] += 1
        return kinds

    @cached_property
    def _checks_by_mark(self) -> dict[str, list[CheckResult]]:
        marks: dict[str, list[CheckResult]] = {}
        for check in self.checks.values():
            if mark := check.get("mark"):
                marks.setdefault(mark, []).append(check)
        return marks
