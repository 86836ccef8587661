"""The limits of every check of the table, and the verdicts they give."""

from dataclasses import dataclass

import numpy as np

from checks.engine import acceptance
from checks.engine.arrays import BoolArray, FloatArray
from checks.evaluation.observe import Observations
from checks.evaluation.table import CheckTable, RodTable
from checks.tolerances import Limits
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind


@dataclass(frozen=True, slots=True)
class Bounds:
    """Between which deviations each check is within, shape (n_checks,). [mm]

    A strength's are in MPa. NaN where the limit hangs on the reading (plumb).
    """

    lower: FloatArray
    upper: FloatArray

    @property
    def size(self) -> FloatArray:
        """The smaller of the two limits in size. [mm]"""
        return np.minimum(np.abs(self.lower), np.abs(self.upper))


def bounds_of(plan: Plan, table: CheckTable, rods: RodTable, limits: Limits) -> Bounds:
    """The limits of every check of the table, from the tolerance basis."""
    upper = np.full(len(table), np.nan)
    lower = np.full(len(table), np.nan)

    def put(kind: Kind, high: FloatArray | float, low: FloatArray | float) -> None:
        rows = table.rows(kind)
        upper[rows] = high
        lower[rows] = low

    def both(kind: Kind, size: FloatArray | float) -> None:
        put(kind, size, -np.asarray(size))

    both(Kind.DIAGONAL, limits.diagonal(table.nominal[table.rows(Kind.DIAGONAL)]))
    both(Kind.WALL, limits.wall(table.nominal[table.rows(Kind.WALL)]))
    both(Kind.LINE, limits.line())
    for kind in (Kind.SETBACK, Kind.OFFSET, Kind.GAGE):
        both(kind, limits.rod_location(_diameters(table, rods, kind)))
    low, high = limits.projection()
    put(Kind.PROJECTION, high, low)
    put(Kind.LEVEL, np.inf, -limits.pad_level())
    both(Kind.NOTCH_WIDTH, limits.notch())
    both(Kind.NOTCH_DEPTH, limits.notch())
    put(Kind.STRENGTH, np.inf, required_strength(plan, limits) - nominal_strength(plan))
    put(Kind.BENCHMARK, np.inf, -np.inf)
    return Bounds(lower, upper)


def nominal_strength(plan: Plan) -> float:
    """What a sample is held against: specified, else sufficient; NaN for none. [MPa]"""
    concrete = plan.concrete
    for strength in (concrete.specified_strength, concrete.sufficient_strength):
        if strength is not None:
            return strength
    return float("nan")


def required_strength(plan: Plan, limits: Limits) -> float:
    """The lesser of the two legal routes' requirements; NaN for none. [MPa]"""
    specified = plan.concrete.specified_strength
    sufficient = plan.concrete.sufficient_strength
    needs = [] if specified is None else [limits.strength_ratio() * specified]
    needs += [] if sufficient is None else [sufficient]
    return min(needs, default=float("nan"))


def _diameters(table: CheckTable, rods: RodTable, kind: Kind) -> FloatArray:
    """The rod diameter each check of a kind goes by, the larger of a pair. [mm]"""
    diameter: FloatArray = rods.diameter[rods.of(table, table.rows(kind))].max(axis=1)
    return diameter


@dataclass(frozen=True, slots=True)
class Verdicts:
    """One verdict per check, with how sure it is, shape (n_checks,).

    `word` is `within`, `outside`, `remeasure` or `unmeasured`.
    """

    word: np.ndarray
    probability: FloatArray
    close: BoolArray


def judge(
    deviation: FloatArray,
    bounds: Bounds,
    observed: Observations,
    *,
    sigma: FloatArray,
    guarded: bool,
) -> Verdicts:
    """Give every check its verdict.

    Parameters
    ----------
    deviation : array, shape (n_checks,)
        Observed less nominal; NaN where nothing was measured. [mm]
    bounds : the limits.
    observed : for the repeats that disagree.
    sigma : array, shape (n_checks,)
        Standard uncertainty of the deviation. [mm]
    guarded : whether the limits shrink by the expanded uncertainty, where it is known:
        a strength has none.
    """
    judged = acceptance.judge(deviation, bounds.lower, bounds.upper, sigma)
    guard = np.nan_to_num(sigma) if guarded else np.zeros_like(sigma)
    kept = acceptance.judge(
        deviation, bounds.lower, bounds.upper, guard, guarded=guarded
    )
    measured = ~np.isnan(deviation)
    word = np.where(kept.within, "within", "outside").astype(object)
    word[observed.disagree | observed.impossible] = "remeasure"
    word[~measured] = "unmeasured"
    return Verdicts(word, judged.probability, judged.close_to_limit & measured)
