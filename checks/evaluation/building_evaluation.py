"""The evaluation of one building: every computed value, before it is written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from checks.engine.arrays import FloatArray
from checks.evaluation.check_limits import CheckBounds
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.concrete_strength import ConcreteEvaluation
from checks.evaluation.fit_up import FitUp
from checks.evaluation.group_rules import GroupRuleCase
from checks.evaluation.likely_cause import LikelyCause
from checks.evaluation.neighbour_lengths import NeighbourLengths
from checks.evaluation.pad_levels import PadLevels, list_shim_stack
from checks.evaluation.plan_review import PlanWarning
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.rod_positions import AsBuiltRods, PatternFits
from checks.evaluation.rod_threads import RodThreads
from checks.evaluation.second_readings import SecondReading, VerdictChances
from checks.evaluation.squareness import Squareness
from checks.evaluation.steel_shift_options import SteelShiftOption
from checks.evaluation.verdicts import VerdictArray
from checks.tolerances.limits import ToleranceLimits
from core.units import LengthStyle
from jobs.anchor_plan.values import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingEvaluation:
    """One building's checks with their verdicts, and the result of each step.

    `cause_index` maps a check to its first entry in `causes`.
    """

    plan: Plan
    limits: ToleranceLimits
    style: LengthStyle
    table: CheckTable
    rods: RodTable
    observations: Observations
    bounds: CheckBounds
    nominal: FloatArray  # (n_checks,) 0 for levels
    deviation: FloatArray  # (n_checks,)
    value: FloatArray  # (n_checks,) observed; heights for levels
    sigma: FloatArray  # (n_checks,) standard uncertainty
    plumb_heights: FloatArray  # (n_checks,) of plumb readings, NaN for others
    verdicts: VerdictArray  # (n_checks,)
    probability: FloatArray  # (n_checks,) of conformance
    chances: VerdictChances  # that a verdict is wrong, now and after a reading
    second_readings: Mapping[int, SecondReading]  # by row: checks close to a limit
    squareness: Squareness
    neighbour_lengths: NeighbourLengths
    as_built: AsBuiltRods
    rod_verdicts: tuple[str, ...]  # (n_rods,) values of `Verdict`
    pattern_fits: PatternFits
    pads: PadLevels
    rod_threads: RodThreads
    pad_threads: FloatArray  # (n_pads,) after shimming
    concrete: ConcreteEvaluation
    group_rules: tuple[GroupRuleCase, ...]
    steel_shifts: tuple[SteelShiftOption, ...]
    fit_up: FitUp | None
    plan_warnings: tuple[PlanWarning, ...]
    causes: tuple[LikelyCause, ...]
    cause_index: Mapping[str, int] = field(default_factory=dict)

    def likely_cause_of(self, keys: Sequence[str]) -> LikelyCause | None:
        """Return the first likely cause that explains any of these checks."""
        first = min(
            (self.cause_index[key] for key in keys if key in self.cause_index),
            default=-1,
        )
        return None if first < 0 else self.causes[first]

    def with_causes(self, causes: tuple[LikelyCause, ...]) -> "BuildingEvaluation":
        """Return a copy with the likely causes of its residuals."""
        index = {
            key: i
            for i, cause in reversed([*enumerate(causes)])
            for key in cause.checks
        }
        return replace(self, causes=causes, cause_index=index)

    def shim_stack(self, pad: int) -> list[str]:
        """List the shim plates of one pad, thickest first."""
        return list_shim_stack(self.plan, self.pads.counts[pad])
