"""Fit-up of one building as read: misfit, worst bays and frames, plates to open.

Every position with a plate, a measured reference line and all rods determined takes
part; the others are left out and named. As read means without any prior: the rods are
where the readings put them. Members' own tolerances are not in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.fit_up.cone_program import ConeProgram, FitUpSolution
from checks.engine.fit_up.elements import (
    compute_missing_lengths,
    compute_pair_misfits,
    compute_single_misfits,
    estimate_pair_misfits,
)
from checks.engine.fit_up.governing_plates import (
    SinglePlacements,
    prove_pair_misfits,
    solve_governing_plates,
    stands_still,
)
from checks.engine.fit_up.openings import find_openings
from checks.engine.fit_up.problem import (
    FitUpLimits,
    FitUpProblem,
    compute_grid_arms,
    rotate_quarter,
)
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.fit_up_pairs import (
    collect_pair_readings,
    estimate_moves,
    list_pair_rows,
    list_pairs,
)
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.rod_positions import AsBuiltRods, PatternFits
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import outline_points
from jobs.anchor_plan.values import Plan

MISFIT_SLACK_MM = 1e-6
"""A misfit up to this is none: the solver's tolerance, and that of every limit."""

LISTED_PAIRS = 8
"""Bays and frames whose own misfit is computed, those most likely worst first."""

LISTED_PAIRS_OF_MISFIT = 24
"""The same where the building does not go together."""

SET_ASIDE_CLEARANCE_MM = 100.0
"""Clearance, beyond its need, of a plate that is set aside: it binds nothing then."""

SAME_DIRECTION = 1.0 - 1e-9
"""Cosine of walls that count as parallel."""

HELD_GRID_MM = 0.01
"""How far a grid may move that is called held: a solver needs an interior."""


class LeftOutReason(StrEnum):
    """Why a position takes no part in the fit-up."""

    NO_PLATE = "no_plate"
    LINE_NOT_MEASURED = "line_not_measured"
    ROD_NOT_DETERMINED = "rod_not_determined"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpElement:
    """One bay or frame by itself. `first` and `second` are positions of the plan.

    `missing_length` is how much more its length would have to give with the holes as
    they are, 0 where it has no misfit, NaN where no length would do. [mm]
    """

    first: int
    second: int
    is_bay: bool
    misfit: float
    missing_length: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUp:
    """The fit-up of a building as read.

    Attributes
    ----------
    positions : (n,) positions of the plan that take part, in its order.
    left_out : the other positions, with the reason.
    problem : what was solved, its positions those of `positions`.
    best : the placement with the least misfit.
    placed : the placement that moves the grid least with `common_misfit`, or with none
        where that is negative; what it says of plates set aside means nothing.
    elements : the bays and frames computed, the worst first, without those of a plate
        that does not go on alone.
    own_misfit : (n,) of plates that do not go on even alone; 0 for the others. [mm]
    common_misfit : the misfit with these plates set aside, as each has a finding of
        its own: what no single plate explains. [mm]
    opening : (n,) radius to add to the holes of few plates so that all goes together,
        the grid in its planned place. [mm]
    opening_after_shift : (n,) the same with the grid moved by `placed`; None where
        moving it gains nothing. [mm]
    pair_rows : checks of the bays and spans that were read and count.
    """

    positions: IntArray
    left_out: tuple[tuple[int, LeftOutReason], ...]
    problem: FitUpProblem
    best: FitUpSolution
    placed: FitUpSolution
    elements: tuple[FitUpElement, ...]
    own_misfit: FloatArray
    common_misfit: float
    opening: FloatArray
    opening_after_shift: FloatArray | None
    pair_rows: IntArray

    @property
    def worst(self) -> FitUpElement | None:
        """The worst bay or frame; None where no single one has a misfit."""
        if self.elements and self.elements[0].misfit > MISFIT_SLACK_MM:
            return self.elements[0]
        return None

    @property
    def is_complete(self) -> bool:
        """True if every position with a plate takes part."""
        return all(why is LeftOutReason.NO_PLATE for _, why in self.left_out)

    @property
    def goes_together(self) -> bool:
        """True if every plate goes on and every bay and frame keeps its length."""
        return self.best.misfit <= MISFIT_SLACK_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredPositions:
    """Rods, readings and verdicts that the fit-up is computed from.

    `contradicted` are rows of bays and spans that other readings contradict.
    """

    plan: Plan
    table: CheckTable
    rods: RodTable
    observations: Observations
    as_built: AsBuiltRods
    rod_verdicts: Sequence[str]
    contradicted: IntArray


def compute_fit_up(
    measured: MeasuredPositions, fits: PatternFits, limits: ToleranceLimits
) -> FitUp | None:
    """Compute the fit-up of the positions that are fully measured.

    Parameters
    ----------
    measured : the positions, planned and as built; one with a rod to be measured again
        is left out.
    fits : the free fit of each plate, which tells most plates that go on alone.
    limits : of lines, turns, bays, frames and the grid.

    Returns
    -------
    FitUp or None
        None where no position takes part, or the solver finds no answer.
    """
    reasons = _find_left_out(measured.rods, measured.as_built, measured.rod_verdicts)
    positions = np.array([i for i, why in enumerate(reasons) if why is None], int)
    if not positions.size:
        return None
    problem, is_bay = build_problem(measured, positions, limits)
    moves = np.zeros((len(problem), 2))
    pair_rows = list_pair_rows(
        measured.plan,
        measured.table,
        measured.observations,
        positions,
        measured.contradicted,
    )
    if pair_rows.size:
        pairs = collect_pair_readings(
            measured.plan,
            measured.table,
            measured.rods,
            measured.observations,
            positions,
            pair_rows,
        )
        moves = estimate_moves(
            measured.table, measured.observations, positions, pair_rows, pairs
        )
        moved = problem.rods + moves[:, None]
        problem = problem.with_rods(np.where(problem.real[..., None], moved, 0.0))
    left_out = tuple((i, why) for i, why in enumerate(reasons) if why is not None)
    try:
        singles = _place_singly(problem, fits, positions, moves)
        found = _solve(problem, is_bay, positions, left_out, singles)
    except EngineError:
        # No readings are known that the solver does not manage; if there are any, the
        # rest of the evaluation stands without the fit-up.
        return None
    return replace(found, pair_rows=pair_rows)


def _solve(
    problem: FitUpProblem,
    is_bay: BoolArray,
    positions: IntArray,
    left_out: tuple[tuple[int, LeftOutReason], ...],
    singles: SinglePlacements,
) -> FitUp:
    best = common_best = solve_governing_plates(problem, singles)
    common = problem
    own = np.zeros(len(problem))
    if best.misfit > MISFIT_SLACK_MM:
        own = _find_own_misfits(problem, singles)
    if own.any():
        room = np.where(own > 0.0, own + SET_ASIDE_CLEARANCE_MM, 0.0)
        common = problem.with_clearance(problem.clearance + room[:, None])
        singles = singles.with_clearance_added(room)
        common_best = solve_governing_plates(common, singles)
    fails = common_best.misfit > MISFIT_SLACK_MM
    placed = _place_with_least_movement(common, common_best)
    opening, after_shift = np.zeros(len(problem)), None
    if fails:
        opening = find_openings(_hold_grid(common))
        after_shift = find_openings(common) if _grid_moves(placed) else None
    return FitUp(
        positions=positions,
        left_out=left_out,
        problem=problem,
        best=best,
        placed=placed,
        elements=_compute_elements(
            common, positions, is_bay, own, singles, failing=fails
        ),
        own_misfit=own,
        common_misfit=common_best.misfit,
        opening=opening,
        opening_after_shift=after_shift,
        pair_rows=np.empty(0, dtype=np.intp),
    )


def _find_left_out(
    rods: RodTable, as_built: AsBuiltRods, rod_verdicts: Sequence[str]
) -> list[LeftOutReason | None]:
    """Return why each position takes no part, None for those that do."""
    remeasure = np.array([each == Verdict.REMEASURE for each in rod_verdicts], bool)
    padded, real = rods.padded_rows

    def any_rod(of: BoolArray) -> list[bool]:
        hit: list[bool] = np.asarray((of[padded] & real).any(axis=1)).tolist()
        return hit

    no_plate = any_rod(np.isnan(rods.clearance))
    contradicted = any_rod(remeasure | as_built.contradictory)
    undetermined = any_rod(~as_built.determined)
    reasons: list[LeftOutReason | None] = []
    for i, group in enumerate(rods.groups):
        if no_plate[i]:
            reasons.append(LeftOutReason.NO_PLATE)
        elif group.position.wall is not None and np.isnan(as_built.line[i]):
            reasons.append(LeftOutReason.LINE_NOT_MEASURED)
        elif contradicted[i]:
            reasons.append(LeftOutReason.CONTRADICTED)
        elif undetermined[i]:
            reasons.append(LeftOutReason.ROD_NOT_DETERMINED)
        else:
            reasons.append(None)
    return reasons


def build_problem(
    measured: MeasuredPositions, positions: IntArray, limits: ToleranceLimits
) -> tuple[FitUpProblem, BoolArray]:
    """Collect the numbers of the fit-up; also which of its pairs are bays."""
    plan, rods, as_built = measured.plan, measured.rods, measured.as_built
    padded, mask = rods.padded_rows
    rows, real = padded[positions], mask[positions]
    weight = real / real.sum(axis=1, keepdims=True)
    local = [rods.position_axes[i] for i in positions]
    axes = np.array([(each.along, each.inward) for each in local])
    planned = rods.planned[rows]
    centroid = (planned * weight[..., None]).sum(axis=1)
    origin = np.array([each.origin for each in local])
    arm, reach = compute_grid_arms(origin + np.einsum("ni,nij->nj", centroid, axes))
    pairs, direction, is_bay = list_pairs(plan, positions)
    problem = FitUpProblem(
        holes=np.where(real[..., None], planned - centroid[:, None], 0.0),
        rods=np.where(real[..., None], as_built.deviation[rows], 0.0),
        clearance=np.where(real, rods.clearance[rows], 0.0),
        real=real,
        axes=axes,
        arm=arm,
        reach=reach,
        walls=_list_wall_normals(plan),
        pairs=pairs,
        direction=direction,
        pair_limit=np.where(is_bay, limits.bay(), limits.span()),
        limits=FitUpLimits(
            line=limits.line(), turn=limits.column_turn(), grid=limits.notch()
        ),
    )
    return problem, is_bay


def _list_wall_normals(plan: Plan) -> FloatArray:
    """List the unit vectors square to the walls, one for each direction."""
    corners = outline_points(plan)
    edges = np.roll(corners, -1, axis=0) - corners
    edges /= np.hypot(edges[:, 0], edges[:, 1])[:, None]
    normals: list[FloatArray] = []
    for normal in rotate_quarter(edges):
        if all(abs(float(normal @ each)) < SAME_DIRECTION for each in normals):
            normals.append(normal)
    return np.array(normals)


def _place_singly(
    problem: FitUpProblem, fits: PatternFits, positions: IntArray, moves: FloatArray
) -> SinglePlacements:
    """Return the placement of each plate by itself, from the plate fits.

    `moves` are those that readings of bays and spans gave to the positions, (n, 2).
    """
    place = np.searchsorted(fits.fitted_positions, positions)
    free, bounded, limits = fits.best_fit, fits.bounded_fit, problem.limits
    overrun, shift = bounded.interference_mm[place], bounded.shift_mm[place]
    turn = bounded.rotation_rad[place]
    if moves.any():
        # The bounds were those of the place before the move.
        shift, turn = free.shift_mm[place] + moves, free.rotation_rad[place]
        within = (np.abs(shift) <= limits.line).all(axis=1)
        within &= np.abs(turn) <= limits.turn
        overrun = np.where(within, free.interference_mm[place], np.inf)
    return SinglePlacements(
        shift=shift,
        turn=np.clip(turn, -limits.turn, limits.turn),
        overrun=overrun,
        least=free.interference_mm[place],
    )


def _find_own_misfits(problem: FitUpProblem, singles: SinglePlacements) -> FloatArray:
    """Find the misfit of plates that do not go on alone, 0 for the others. [mm]"""
    doubtful = np.flatnonzero(singles.overrun > MISFIT_SLACK_MM)
    own = np.zeros(len(problem))
    own[doubtful] = compute_single_misfits(
        problem, doubtful, turns=singles.turn[doubtful]
    )
    return np.where(own > MISFIT_SLACK_MM, own, 0.0)


def _place_with_least_movement(
    problem: FitUpProblem, best: FitUpSolution
) -> FitUpSolution:
    """Return a placement that moves the grid no further than it must."""
    if stands_still(problem, best):
        # The same plates stand within all limits of a grid that does not move.
        return replace(best, grid=np.zeros(3))
    program = ConeProgram(problem, turns=best.turn)
    allowed = max(best.misfit, 0.0)
    try:
        return program.solve_least_movement(allowed + MISFIT_SLACK_MM)
    except EngineError:
        # Rotation is linearised about other turns than `best` was: its least misfit
        # is another by the second order, and may be a little more.
        allowed = max(allowed, program.solve().misfit)
        return program.solve_least_movement(allowed + MISFIT_SLACK_MM)


def _grid_moves(placed: FitUpSolution) -> bool:
    return bool(np.any(np.abs(placed.grid[:2]) > HELD_GRID_MM)) or bool(
        abs(placed.grid[2]) > 0.0
    )


def _hold_grid(problem: FitUpProblem) -> FitUpProblem:
    """Return the same problem with the grid in its planned place."""
    return replace(problem, limits=replace(problem.limits, grid=HELD_GRID_MM))


def _compute_elements(
    problem: FitUpProblem,
    positions: IntArray,
    is_bay: BoolArray,
    own: FloatArray,
    singles: SinglePlacements,
    *,
    failing: bool,
) -> tuple[FitUpElement, ...]:
    """Compute the bays and frames that are most likely worst, the worst first.

    Those of a plate that does not go on alone are left out.
    """
    sound = np.flatnonzero((own[problem.pairs] == 0.0).all(axis=1))
    estimate = estimate_pair_misfits(problem)[sound]
    listed = LISTED_PAIRS_OF_MISFIT if failing else LISTED_PAIRS
    chosen = sound[np.argsort(-estimate, kind="stable")[:listed]]
    misfit, proved = prove_pair_misfits(problem, singles, chosen)
    misfit[~proved] = compute_pair_misfits(problem, chosen[~proved], turns=singles.turn)
    order = np.argsort(-misfit, kind="stable")
    chosen, misfit = chosen[order], misfit[order]
    missing = np.zeros(chosen.size)
    lacking = np.flatnonzero(misfit > MISFIT_SLACK_MM)
    missing[lacking] = compute_missing_lengths(problem, chosen[lacking])
    ends = positions[problem.pairs[chosen]]
    return tuple(
        FitUpElement(
            first=int(ends[i, 0]),
            second=int(ends[i, 1]),
            is_bay=bool(is_bay[pair]),
            misfit=float(misfit[i]),
            missing_length=float(missing[i]),
        )
        for i, pair in enumerate(chosen)
    )
