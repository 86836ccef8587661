"""The bad checks of one building, and the causes found for them."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.table import CheckTable
from core.units import format_length
from jobs.plan.sheet import Check, Kind

if TYPE_CHECKING:
    from checks.evaluation.judged import Judged


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyCause:
    """A mistake that would explain what was read. A hint: it changes no number."""

    cause: str
    checks: tuple[str, ...]
    readings: tuple[str, ...]
    explanation: str

    def as_result(self) -> dict[str, Any]:
        """A finding's `likely_cause`."""
        return {
            "cause": self.cause,
            "checks": list(self.checks),
            "readings": list(self.readings),
            "explanation": self.explanation,
        }


class Suspects:
    """The bad checks of a building, and those already explained."""

    def __init__(self, judged: "Judged") -> None:
        self.judged = judged
        self.table: CheckTable = judged.table
        words = judged.words
        self.open = {
            int(row)
            for row in np.flatnonzero((words == "outside") | (words == "remeasure"))
        }

    def rows(self, *kinds: Kind) -> list[int]:
        """Rows of these kinds that are bad and not yet explained."""
        return [int(row) for row in self.table.rows(*kinds) if int(row) in self.open]

    def check(self, row: int) -> Check:
        return self.table.checks[row]

    def tolerance(self, rows: Iterable[int]) -> FloatArray:
        """What may be left over of each: its limit and its expanded uncertainty."""
        which = list(rows)
        sigma = np.nan_to_num(self.judged.sigma[which])
        return np.asarray(self.judged.bounds.size[which] + 2.0 * sigma, np.float64)

    def deviation(self, rows: Iterable[int]) -> FloatArray:
        return self.judged.deviation[list(rows)]

    def length(self, mm: float) -> str:
        return format_length(abs(mm), self.judged.style, 32)

    def explain(self, cause: str, rows: Iterable[int], explanation: str) -> LikelyCause:
        """Name the cause of some rows and take them off the list."""
        which = list(rows)
        self.open.difference_update(which)
        observed = self.judged.observed
        return LikelyCause(
            cause=cause,
            checks=tuple(self.check(row).key for row in which),
            readings=tuple(r.id for row in which for r in observed.readings[row]),
            explanation=explanation,
        )
