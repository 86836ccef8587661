"""The limits of every check of the table, and the verdicts they give."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine import conformity
from checks.engine.arrays import FloatArray
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.verdicts import VerdictArray, fill_verdicts
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan


@dataclass(frozen=True)
class CheckBounds:
    """Least and largest deviation each check is within, shape (n_checks,). [mm]

    For a strength in MPa. NaN where the limit depends on the reading (plumb).
    """

    lower: FloatArray
    upper: FloatArray

    @cached_property
    def size(self) -> FloatArray:
        """Return the smaller of the two limits in size. [mm]"""
        return np.minimum(np.abs(self.lower), np.abs(self.upper))


def compute_bounds(
    plan: Plan, table: CheckTable, rods: RodTable, limits: ToleranceLimits
) -> CheckBounds:
    """Compute the limits of every check of the table from the tolerance basis."""
    upper = np.full(len(table), np.nan)
    lower = np.full(len(table), np.nan)

    def set_bounds(
        kind: CheckKind, high: FloatArray | float, low: FloatArray | float
    ) -> None:
        rows = table.rows(kind)
        upper[rows] = high
        lower[rows] = low

    # Two helpers, so that each kind below is one line with its limit.
    def set_symmetric(kind: CheckKind, size: FloatArray | float) -> None:
        set_bounds(kind, size, -np.asarray(size))

    set_symmetric(
        CheckKind.DIAGONAL,
        limits.diagonal(table.nominal[table.rows(CheckKind.DIAGONAL)]),
    )
    set_symmetric(
        CheckKind.WALL, limits.wall(table.nominal[table.rows(CheckKind.WALL)])
    )
    set_symmetric(CheckKind.LINE, limits.line())
    set_symmetric(CheckKind.BAY, limits.bay())
    set_symmetric(CheckKind.SPAN, limits.span())
    for kind in (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE):
        set_symmetric(kind, limits.rod_location(_rod_diameters(table, rods, kind)))
    low, high = limits.projection()
    set_bounds(CheckKind.PROJECTION, high, low)
    # Heights count from the highest pad: a pad can only be too low.
    set_bounds(CheckKind.LEVEL, np.inf, -limits.pad_level())
    set_symmetric(CheckKind.NOTCH_WIDTH, limits.notch())
    set_symmetric(CheckKind.NOTCH_DEPTH, limits.notch())
    # More strength than required is never a deviation.
    set_bounds(
        CheckKind.STRENGTH,
        np.inf,
        required_strength(plan, limits) - nominal_strength(plan),
    )
    # A benchmark has no nominal: only its repeats can fail.
    set_bounds(CheckKind.BENCHMARK, np.inf, -np.inf)
    return CheckBounds(lower, upper)


def nominal_strength(plan: Plan) -> float:
    """Return the specified, else the sufficient strength; NaN for none. [MPa]"""
    concrete = plan.concrete
    for strength in (concrete.specified_strength, concrete.sufficient_strength):
        if strength is not None:
            return strength
    return float("nan")


def required_strength(plan: Plan, limits: ToleranceLimits) -> float:
    """Return the lesser requirement of the two legal routes; NaN for none. [MPa]"""
    specified = plan.concrete.specified_strength
    sufficient = plan.concrete.sufficient_strength
    needs = [] if specified is None else [limits.strength_ratio() * specified]
    needs += [] if sufficient is None else [sufficient]
    return min(needs, default=float("nan"))


def _rod_diameters(table: CheckTable, rods: RodTable, kind: CheckKind) -> FloatArray:
    """Return the rod diameter of each check of a kind, the larger of a pair. [mm]"""
    diameter: FloatArray = rods.diameter[
        rods.rows_of_checks(table, table.rows(kind))
    ].max(axis=1)
    return diameter


@dataclass(frozen=True, slots=True)
class CheckVerdicts:
    """One verdict per check with its probability of conformance, (n_checks,)."""

    verdict: VerdictArray
    probability: FloatArray


def assign_verdicts(
    deviation: FloatArray,
    bounds: CheckBounds,
    observations: Observations,
    *,
    sigma: FloatArray,
    guarded: bool,
) -> CheckVerdicts:
    """Assign every check its verdict.

    Parameters
    ----------
    deviation : array, shape (n_checks,)
        Observed less nominal; NaN where nothing was measured. [mm]
    bounds : the limits.
    observations : for the repeats that disagree.
    sigma : array, shape (n_checks,)
        Standard uncertainty of the deviation. [mm]
    guarded : whether the limits shrink by the expanded uncertainty where it is known;
        a strength has none.
    """
    # The probability is reported against the full limit, guarded or not.
    simple = conformity.assess_conformity(deviation, bounds.lower, bounds.upper, sigma)
    guard = np.nan_to_num(sigma) if guarded else np.zeros_like(sigma)
    decisive = conformity.assess_conformity(
        deviation, bounds.lower, bounds.upper, guard, guarded=guarded
    )
    measured = ~np.isnan(deviation)
    verdict = fill_verdicts(decisive.within)
    verdict[~measured] = Verdict.UNMEASURED
    # Readings that contradict each other leave no deviation, yet they were taken.
    doubtful = (observations.disagree | observations.impossible) & measured
    verdict[doubtful | observations.contradicted] = Verdict.REMEASURE
    return CheckVerdicts(verdict, simple.probability)
