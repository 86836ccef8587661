"""Rod positions: each rod as built, the shift of its group, the fit of its plate."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from checks.engine import pattern, rigid_fit
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.outlier_tests import CRITICAL_W
from checks.engine.plate_fit import plate
from checks.engine.plate_fit.slots import SlotBatch, find_shortest_slots_many
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.verdicts import VerdictArray, fill_verdicts
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind

PATTERN_KINDS = (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
"""Checks that place the rods of a pattern against each other and their lines."""

POSITION_KINDS = (CheckKind.LINE, *PATTERN_KINDS)
"""Checks that place a pattern and its rods on the plan."""


@dataclass(frozen=True, kw_only=True)
class AsBuiltRods:
    """Every rod of the plan as built; NaN where it is not determined. [mm]

    Attributes
    ----------
    points : (n_rods, 2) along and in, from the planned reference line and the
        steel line.
    from_line : (n_rods, 2) deviation with the reference line taken as built: what
        setback, offset and gage readings measure and `rod_location` limits.
    deviation : (n_rods, 2) from the plan, the reference line's own included.
    contradictory : (n_rods,) whether the gages of its pattern fit no arrangement near
        the plan; they are left out then.
    sigma : (n_rods, 2) standard uncertainty of `deviation`; NaN where not known.
    contradicted : rows of the checks whose readings the rest of their pattern
        contradicts.
    other : (n_rods, 2) the place further from the plan that the gages allow as well,
        as `points`; NaN for a rod with one place.
    line : (n_positions,) deviation of the reference line along its wall; NaN where
        it was not measured, and the planned line stands in.
    """

    points: FloatArray
    from_line: FloatArray
    deviation: FloatArray
    determined: BoolArray
    sigma: FloatArray
    other: FloatArray
    line: FloatArray
    contradictory: BoolArray
    contradicted: IntArray

    @cached_property
    def miss(self) -> FloatArray:
        """Return the distance of each rod from the plan, shape (n_rods,). [mm]"""
        return np.hypot(self.deviation[:, 0], self.deviation[:, 1])


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternFits:
    """Each position's pattern as one rigid body, (n_positions, …); NaN if not known.

    Attributes
    ----------
    shift, turn : rigid best fit of as-built to plan, about the planned centroid.
        [mm, rad]
    complete : whether every rod of the position is determined.
    fitted_positions : the positions with a plate and every rod determined; `best_fit`
        is the free placement of their plates, `bounded_fit` the best one within the
        line tolerance and the turn of a column. The bounded one decides.
    remedy_positions : those of them that need a remedy; `overrun_as_drawn` is the
        overrun at the planned place.
    slot_positions : those of them where slotting makes sense: the plate does not go
        on, and no rod is so far out that it is replaced. `slots` opens the fewest
        holes. None until `add_remedy_positions` has searched them.
    """

    shift: FloatArray
    turn: FloatArray
    complete: BoolArray
    fitted_positions: IntArray
    best_fit: plate.PlateFit
    bounded_fit: plate.PlateFit
    remedy_positions: IntArray
    overrun_as_drawn: FloatArray
    slot_positions: IntArray | None = None
    slots: SlotBatch | None = None

    @property
    def misfit_positions(self) -> IntArray:
        """Return the positions whose plate does not go on within the limits."""
        misfit = self.bounded_fit.interference_mm > SLACK_MM
        return self.fitted_positions[misfit]


def solve_rods(
    table: CheckTable, rods: RodTable, observations: Observations
) -> AsBuiltRods:
    """Compute each rod from the lines, setbacks, offsets and gages that were read."""
    rows = {kind: _measured_rows(table, observations, kind) for kind in PATTERN_KINDS}
    solution = pattern.solve_patterns(
        rods.planned,
        rods.position,
        setback=_single_rod_readings(
            table, rods, observations, rows[CheckKind.SETBACK]
        ),
        offset=_single_rod_readings(table, rods, observations, rows[CheckKind.OFFSET]),
        gage=_gage_readings(table, rods, observations, rows[CheckKind.GAGE]),
    )
    line = np.full(len(rods.groups), np.nan)
    lines = table.rows(CheckKind.LINE)
    line[table.position[lines]] = observations.value[lines] - table.nominal[lines]
    # Readings place a rod from its reference line; the line itself may be off.
    from_line = solution.rods_mm - rods.planned
    line_sigma = np.zeros(len(rods.groups))
    line_sigma[table.position[lines]] = observations.uncertainty[lines]
    sigma = solution.sigma_mm.copy()
    sigma[:, 0] = np.hypot(sigma[:, 0], np.nan_to_num(line_sigma)[rods.position])
    line_shift = np.zeros_like(from_line)
    line_shift[:, 0] = np.nan_to_num(line)[rods.position]
    return AsBuiltRods(
        points=solution.rods_mm + line_shift,
        from_line=from_line,
        deviation=from_line + line_shift,
        determined=np.logical_and.reduce(solution.determined, axis=1),
        sigma=sigma,
        other=solution.other_mm + line_shift,
        line=line,
        contradictory=solution.contradictory,
        contradicted=_find_contradicted_rows(table, rods, rows, solution, observations),
    )


def _measured_rows(
    table: CheckTable, observations: Observations, kind: CheckKind
) -> IntArray:
    """Return the rows of one kind that have a value: read, and not contradicted."""
    rows = table.rows(kind)
    return rows[observations.contributing[rows] > 0]


def assign_rod_verdicts(
    table: CheckTable,
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    verdicts: VerdictArray,
) -> tuple[str, ...]:
    """Assign each rod its verdict: its place against `rod_location`.

    By the basis either each axis from the reference line as built, which has a check of
    its own, or the distance from where the plan has the rod (`_find_misplaced_rods`).
    A rod is never better than its own setback and offset, which keep the guard band of
    the basis; a rod that is not determined is outside where one of these is, else
    unmeasured.

    Parameters
    ----------
    table, rods, as_built, limits : the checks, and the rods planned and as built.
    verdicts : array, shape (n_checks,)
        The verdicts of the checks.
    """
    outside, known = _find_misplaced_rods(rods, as_built, limits)
    single = table.rows(CheckKind.SETBACK, CheckKind.OFFSET)
    single = single[verdicts[single] == Verdict.OUTSIDE]
    outside[rods.rows_of_checks(table, single)] = True
    doubtful = table.rows(*PATTERN_KINDS)
    doubtful = doubtful[verdicts[doubtful] == Verdict.REMEASURE]
    rod_verdicts = fill_verdicts(~outside)
    rod_verdicts[~known & ~outside] = Verdict.UNMEASURED
    # Last, as a contradicted reading makes the rod's place worthless.
    rod_verdicts[rods.rows_of_checks(table, doubtful)] = Verdict.REMEASURE
    return tuple(rod_verdicts.tolist())


def _find_misplaced_rods(
    rods: RodTable, as_built: AsBuiltRods, limits: ToleranceLimits
) -> tuple[BoolArray, BoolArray]:
    """Return the rods beyond `rod_location`, and those that are known to that end.

    A distance from the plan needs the reference line of a position on a wall: without
    it a rod is outside where its setback alone is, and never within.
    """
    limit = limits.rod_location(rods.diameter)
    if not limits.rods_from_plan:
        beyond = np.abs(as_built.from_line) > limit[:, None] + SLACK_MM
        return beyond[:, 0] | beyond[:, 1], as_built.determined
    on_wall = np.array([group.position.wall is not None for group in rods.groups], bool)
    unread = (on_wall & np.isnan(as_built.line))[rods.position]
    off = as_built.deviation.copy()
    off[unread, 0] = np.nan
    distance = np.hypot(*np.nan_to_num(off).T)
    if limits.guarded:
        # The uncertainty of the distance: that of the deviation in its direction.
        share = np.nan_to_num(off) / np.where(distance > 0.0, distance, 1.0)[:, None]
        spread = np.hypot(*(share * np.nan_to_num(as_built.sigma)).T)
        distance = distance + COVERAGE_FACTOR * spread
    return distance > limit + SLACK_MM, as_built.determined & ~unread


def _find_contradicted_rows(
    table: CheckTable,
    rods: RodTable,
    rows: dict[CheckKind, IntArray],
    solution: pattern.PatternSolution,
    observations: Observations,
) -> IntArray:
    """Return the rows whose residual in the pattern no uncertainty explains.

    The residual is divided by the reading's own uncertainty, which is never less than
    the standard deviation of the residual: the test is on the lenient side. Gages that
    fit no arrangement near the plan were left out of the solution and are contradicted
    as a whole.
    """
    residuals = (
        solution.setback_residuals_mm,
        solution.offset_residuals_mm,
        solution.gage_residuals_mm,
    )
    contradicted = [
        rows[kind][np.abs(residual) > CRITICAL_W * observations.uncertainty[rows[kind]]]
        for kind, residual in zip(PATTERN_KINDS, residuals, strict=True)
    ]
    gages = rows[CheckKind.GAGE]
    contradicted.append(
        gages[solution.contradictory[rods.rows_of_checks(table, gages)[:, 0]]]
    )
    return np.unique(np.concatenate(contradicted))


def _single_rod_readings(
    table: CheckTable, rods: RodTable, observations: Observations, rows: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return rod rows, values and uncertainties of checks of a single rod."""
    return (
        rods.rows_of_checks(table, rows)[:, 0],
        observations.value[rows],
        observations.uncertainty[rows],
    )


def _gage_readings(
    table: CheckTable, rods: RodTable, observations: Observations, rows: IntArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Return both rod rows, values and uncertainties of every gage read."""
    pairs = rods.rows_of_checks(table, rows)
    return (
        pairs[:, 0],
        pairs[:, 1],
        observations.value[rows],
        observations.uncertainty[rows],
    )


def fit_patterns(
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    needs_remedy: BoolArray,
) -> PatternFits:
    """Fit each group and its plate to the rods as built, all positions at once.

    Parameters
    ----------
    rods, as_built : the rods, planned and as built.
    limits : for the line tolerance and the turn of a column.
    needs_remedy : array, shape (n_positions,)
        Positions whose plate is also seen at its planned place.
    """
    rows, real = rods.padded_rows
    complete = np.logical_and.reduce(as_built.determined[rows] | ~real, axis=1)
    shift, turn = _fit_groups(rods, as_built, np.flatnonzero(complete))
    clearance = rods.clearance
    # A detail without a plate has no clearance: there is nothing to fit.
    fitted = np.flatnonzero(complete & ~np.isnan(clearance[rows]).any(axis=1))
    planned, built = rods.planned[rows], as_built.points[rows]
    best_fit = plate.fit_plates(
        planned[fitted], built[fitted], clearance[rows[fitted]], real[fitted]
    )
    remedy = fitted[needs_remedy[fitted]]
    return PatternFits(
        shift=shift,
        turn=turn,
        complete=complete,
        fitted_positions=fitted,
        best_fit=best_fit,
        bounded_fit=plate.fit_plates_within_bounds(
            best_fit,
            planned[fitted],
            built[fitted],
            clearance[rows[fitted]],
            real[fitted],
            shift_limit_mm=np.full((fitted.size, 2), float(limits.line())),
            rotation_limit_rad=np.full(fitted.size, float(limits.column_turn())),
            # The search of every rotation never found a better one (METHOD.md), and
            # takes several times as long.
            prove=False,
        ),
        remedy_positions=remedy,
        overrun_as_drawn=_overrun_as_drawn(rods, as_built, remedy),
    )


def add_remedy_positions(
    fits: PatternFits,
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    *,
    needs_remedy: BoolArray,
    increment_mm: float,
) -> PatternFits:
    """Return a copy with other positions to remedy, and slots where they make sense.

    Parameters
    ----------
    fits, rods, as_built : the fits, and the rods planned and as built.
    limits : for the line tolerance, the turn of a column, and what is re-anchored.
    needs_remedy : array, shape (n_positions,)
        Positions to remedy.
    increment_mm : float
        Slots are ordered in whole increments. [mm]
    """
    fitted = fits.fitted_positions
    rows, real = rods.padded_rows
    worst = np.where(real[fitted], as_built.miss[rows[fitted]], 0.0)
    # A rod further out is cheaper to replace, so its plate needs no slots.
    near = worst.max(axis=1, initial=0) <= limits.re_anchor_beyond() + SLACK_MM
    misfit = fits.bounded_fit.interference_mm > SLACK_MM
    remedy = fitted[needs_remedy[fitted]]
    slot = fitted[needs_remedy[fitted] & near & misfit]
    return replace(
        fits,
        remedy_positions=remedy,
        overrun_as_drawn=_overrun_as_drawn(rods, as_built, remedy),
        slot_positions=slot,
        slots=find_shortest_slots_many(
            rods.planned[rows[slot]],
            as_built.points[rows[slot]],
            rods.clearance[rows[slot]],
            real[slot],
            shift_limit_mm=np.full((slot.size, 2), float(limits.line())),
            rotation_limit_rad=np.full(slot.size, float(limits.column_turn())),
            increment_mm=increment_mm,
            known_short=True,
        ),
    )


def _overrun_as_drawn(
    rods: RodTable, as_built: AsBuiltRods, positions: IntArray
) -> FloatArray:
    """Return the overrun of some positions' plates at their planned place. [mm]"""
    rows, real = (of[positions] for of in rods.padded_rows)
    overrun = np.where(real, as_built.miss[rows] - rods.clearance[rows], -np.inf)
    most: FloatArray = overrun.max(axis=1, initial=-np.inf)
    return most


def _fit_groups(
    rods: RodTable, as_built: AsBuiltRods, complete: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Fit as-built to plan for the complete positions; NaN for the others.

    Returns
    -------
    shift : array, shape (n_positions, 2)
        [mm]
    turn : array, shape (n_positions,)
        [rad]
    """
    shift = np.full((len(rods.groups), 2), np.nan)
    turn = np.full(len(rods.groups), np.nan)
    if complete.size:
        rows, real = (of[complete] for of in rods.padded_rows)
        fit = rigid_fit.fit_rigid(rods.planned[rows], as_built.points[rows], real=real)
        shift[complete], turn[complete] = fit.shift_mm, fit.rotation_rad
    return shift, turn
