"""Everything that was computed of one building, before it is written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.concrete import Concrete
from checks.evaluation.group_rules import GroupRule
from checks.evaluation.levels import Pads, stack_of
from checks.evaluation.limits import Bounds
from checks.evaluation.observe import Observations
from checks.evaluation.positions import Groups, Rods
from checks.evaluation.squareness import Squareness
from checks.evaluation.steel_shift import SteelShift
from checks.evaluation.suspects import LikelyCause
from checks.evaluation.table import CheckTable, RodTable
from checks.tolerances import Limits
from core.units import LengthStyle
from jobs.plan.model import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Threads:
    """Thread above the nut of every rod, shape (n_rods,). [mm]; NaN if not known.

    `left` is negative where the nut is not fully engaged; `engaged` is the share of
    the nut that is.
    """

    left: FloatArray
    engaged: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One building's checks with their verdicts, and what each room made of them."""

    plan: Plan
    limits: Limits
    style: LengthStyle
    table: CheckTable
    rods: RodTable
    observed: Observations
    bounds: Bounds
    nominal: FloatArray  # (n_checks,) 0 for levels
    deviation: FloatArray  # (n_checks,)
    value: FloatArray  # (n_checks,) observed, heights for levels
    sigma: FloatArray  # (n_checks,)
    heights: FloatArray  # (n_checks,) of plumb readings
    words: np.ndarray  # (n_checks,) verdicts
    probability: FloatArray
    close: np.ndarray
    square: Squareness
    solved: Rods
    rod_words: tuple[str, ...]  # (n_rods,) verdicts
    groups: Groups
    pads: Pads
    threads: Threads
    pad_thread: FloatArray  # (n_pads,) after shimming
    concrete: Concrete
    group_rules: tuple[GroupRule, ...]
    shifts: tuple[SteelShift, ...]
    causes: tuple[LikelyCause, ...]
    touched: Mapping[str, int] = field(default_factory=dict)  # check to its first cause

    def cause_of(self, keys: Sequence[str]) -> LikelyCause | None:
        """The likely cause that touches any of these checks."""
        first = min(
            (self.touched[key] for key in keys if key in self.touched), default=-1
        )
        return None if first < 0 else self.causes[first]

    def explained_by(self, causes: tuple[LikelyCause, ...]) -> "Judged":
        """The same, with what would explain its residuals."""
        touched = {
            key: i
            for i, cause in reversed([*enumerate(causes)])
            for key in cause.checks
        }
        return replace(self, causes=causes, touched=touched)

    def stack(self, pad: int) -> list[str]:
        """The shim plates of one pad, thickest first."""
        return stack_of(self.plan, self.pads.counts[pad])
