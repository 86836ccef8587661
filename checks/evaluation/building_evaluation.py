"""Everything that was computed of one building, before it is written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.check_limits import CheckBounds
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.concrete_strength import ConcreteEvaluation
from checks.evaluation.failing_checks import LikelyCause
from checks.evaluation.group_rules import GroupRuleCase
from checks.evaluation.pad_levels import PadLevels, list_shim_stack
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.rod_positions import AsBuiltRods, PatternFits
from checks.evaluation.squareness import Squareness
from checks.evaluation.steel_shift_options import SteelShiftOption
from checks.tolerances import ToleranceLimits
from core.units import LengthStyle
from jobs.anchor_plan.values import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class RodThreads:
    """Thread above the nut of every rod, shape (n_rods,). [mm]; NaN if not known.

    `left` is negative where the nut is not fully engaged; `engaged` is the share of
    the nut that is.
    """

    thread_left: FloatArray
    engaged: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingEvaluation:
    """One building's checks with their verdicts, and what each room made of them."""

    plan: Plan
    limits: ToleranceLimits
    style: LengthStyle
    table: CheckTable
    rods: RodTable
    observations: Observations
    bounds: CheckBounds
    nominal: FloatArray  # (n_checks,) 0 for levels
    deviation: FloatArray  # (n_checks,)
    value: FloatArray  # (n_checks,) observed, heights for levels
    sigma: FloatArray  # (n_checks,)
    plumb_heights: FloatArray  # (n_checks,) of plumb readings
    verdicts: np.ndarray  # (n_checks,) verdicts
    probability: FloatArray
    close_to_limit: np.ndarray
    squareness: Squareness
    as_built: AsBuiltRods
    rod_verdicts: tuple[str, ...]  # (n_rods,) verdicts
    pattern_fits: PatternFits
    pads: PadLevels
    rod_threads: RodThreads
    pad_threads: FloatArray  # (n_pads,) after shimming
    concrete: ConcreteEvaluation
    group_rules: tuple[GroupRuleCase, ...]
    steel_shifts: tuple[SteelShiftOption, ...]
    causes: tuple[LikelyCause, ...]
    cause_index: Mapping[str, int] = field(
        default_factory=dict
    )  # check to its first cause

    def likely_cause_of(self, keys: Sequence[str]) -> LikelyCause | None:
        """The likely cause that touches any of these checks."""
        first = min(
            (self.cause_index[key] for key in keys if key in self.cause_index),
            default=-1,
        )
        return None if first < 0 else self.causes[first]

    def with_causes(self, causes: tuple[LikelyCause, ...]) -> "BuildingEvaluation":
        """The same, with what would explain its residuals."""
        touched = {
            key: i
            for i, cause in reversed([*enumerate(causes)])
            for key in cause.checks
        }
        return replace(self, causes=causes, cause_index=touched)

    def shim_stack(self, pad: int) -> list[str]:
        """The shim plates of one pad, thickest first."""
        return list_shim_stack(self.plan, self.pads.counts[pad])
