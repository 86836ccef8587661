"""Checks near their limit: the second reading that would settle the verdict best.

Near a limit every verdict may be wrong, and on a long line an honest tape is always
near it. A second reading is asked for only where it would lower the chance of a wrong
verdict by `WORTHWHILE_GAIN`: the same tape again hardly does where its class is what is
unknown.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.conformity import (
    COVERAGE_FACTOR,
    NEGLIGIBLE_UNCERTAINTY_MM,
    SLACK_MM,
)
from checks.evaluation.check_limits import CheckBounds
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reading_options import (
    REPEAT_COSTS,
    REPEAT_KINDS,
    RepeatOptions,
    build_repeat_options,
)
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.verdicts import VerdictArray
from core.vocabulary import NextReadingKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.next_readings import SecondReadingResult

WORTHWHILE_GAIN = 0.05
"""Least that a reading takes off the chance of a wrong conclusion. Project choice."""

UNREPEATED_KINDS = (CheckKind.BENCHMARK, CheckKind.STRENGTH)
"""Checks without an uncertainty of their own, or without a limit."""


def describe_reading(kind: NextReadingKind, instrument: str | None) -> str:
    """Describe how to take a reading, such as "with tape T2"."""
    if kind is NextReadingKind.OTHER_TAPE and instrument:
        return f"with tape {instrument}"
    return kind.label


@dataclass(frozen=True, slots=True)
class SecondReading:
    """The reading that would settle the verdict of one check best.

    Attributes
    ----------
    instrument : name of the other tape; "" where it is another kind of reading, or the
        plan has no other tape.
    before, after : chance that the verdict is wrong, now and then. [1]
    """

    kind: NextReadingKind
    instrument: str
    before: float
    after: float

    @property
    def gain(self) -> float:
        """Return what it takes off the chance of a wrong verdict."""
        return self.before - self.after

    def as_result(self) -> SecondReadingResult:
        """Return the `second_reading` of a check of the result document."""
        return {
            "kind": self.kind.value,
            "instrument": self.instrument or None,
            "before": self.before,
            "after": self.after,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictChances:
    """The chances of a wrong verdict of n checks that were measured.

    Attributes
    ----------
    options : the ways to read them once more.
    margin : (n,) distance of what all readings together say from the nearer limit,
        negative beyond it. [mm]
    before : (n,) chance that the verdict is wrong. [1]
    after : (n, n_kinds) the same after each reading; `before` where there is none. [1]
    """

    options: RepeatOptions
    margin: FloatArray
    before: FloatArray
    after: FloatArray

    def second_readings(self) -> dict[int, SecondReading]:
        """Return the second reading of each check that needs one, by row."""
        gain = self.before[:, None] - self.after
        worthwhile = gain >= WORTHWHILE_GAIN
        best = np.where(worthwhile, gain / REPEAT_COSTS, -1.0).argmax(axis=1)
        found = {}
        for i in np.flatnonzero(worthwhile.any(axis=1)).tolist():
            kind = REPEAT_KINDS[best[i]]
            found[int(self.options.rows[i])] = SecondReading(
                kind=kind,
                instrument=self.instrument(i, kind),
                before=float(self.before[i]),
                after=float(self.after[i, best[i]]),
            )
        return found

    def instrument(self, i: int, kind: NextReadingKind) -> str:
        """Return the name of the tape to fetch for a reading, "" for none."""
        return self.options.tapes[i] if kind is NextReadingKind.OTHER_TAPE else ""


def compute_verdict_chances(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    *,
    bounds: CheckBounds,
    deviation: FloatArray,
    sigma: FloatArray,
    verdicts: VerdictArray,
    guarded: bool,
) -> VerdictChances:
    """Compute the chance of a wrong verdict of every check, now and after a reading.

    The verdict is that of the check's own readings; whether it is wrong is a question
    to all readings together, which may say the opposite where two tapes differ. Left
    out is what has no verdict by its deviation: not measured, contradictory, or without
    an uncertainty or a limit.
    """
    rows = _settled_rows(table, deviation, sigma, verdicts)
    rows = rows[np.isfinite(bounds.size[rows])]
    options = build_repeat_options(plan, table, observations, sigma, rows)
    best = deviation[rows] + options.shift
    margin = np.minimum(bounds.upper[rows] - best, best - bounds.lower[rows])
    if guarded:
        margin = margin - COVERAGE_FACTOR * sigma[rows]
    before, after = options.compute_chances(margin)
    said_within = verdicts[rows] == Verdict.WITHIN
    opposite = (margin < -SLACK_MM) == said_within
    before = np.where(opposite, 1.0 - before, before)
    return VerdictChances(options=options, margin=margin, before=before, after=after)


def _settled_rows(
    table: CheckTable, deviation: FloatArray, sigma: FloatArray, verdicts: VerdictArray
) -> IntArray:
    """Return the rows whose verdict was drawn from a deviation and its uncertainty."""
    settled = (verdicts == Verdict.WITHIN) | (verdicts == Verdict.OUTSIDE)
    settled &= np.isfinite(deviation)
    settled &= np.nan_to_num(sigma) > NEGLIGIBLE_UNCERTAINTY_MM
    settled[table.rows(*UNREPEATED_KINDS)] = False
    return np.flatnonzero(settled)
