"""Positions: where each rod is, how the group moved, whether the plate goes on."""

from dataclasses import dataclass

import numpy as np

from checks.engine import pattern, rigid_fit
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.plate_fit import plate, slots
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from jobs.anchor_plan.check_keys import CheckKind

PATTERN_KINDS = (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
CRITICAL_W = 3.29  # W. Baarda (1968): 0.1 % of good readings exceed it


@dataclass(frozen=True, slots=True, kw_only=True)
class AsBuiltRods:
    """Every rod of the plan as built; NaN where it is not determined. [mm]

    points : (n_rods, 2) along and in, from the planned reference line and the
        steel line.
    from_line : (n_rods, 2) deviation with the reference line taken as built: what
        setback, offset and gage readings say, and what `rod_location` limits.
    deviation : (n_rods, 2) from the plan, the reference line's own included.
    contradictory : (n_rods,) whether the gages of its pattern fit no figure near the
        plan; they are left out then.
    contradicted : rows of the checks whose readings the rest of their pattern
        contradicts.
    line : (n_positions,) deviation of the reference line along its wall; NaN where
        it was not measured, when it is taken to be where the plan has it.
    """

    points: FloatArray
    from_line: FloatArray
    deviation: FloatArray
    determined: BoolArray
    line: FloatArray
    contradictory: BoolArray
    contradicted: IntArray

    @property
    def miss(self) -> FloatArray:
        """Distance of each rod from the plan, shape (n_rods,). [mm]"""
        return np.hypot(self.deviation[:, 0], self.deviation[:, 1])


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternFits:
    """Each position's pattern as one body, shape (n_positions, …); NaN if not known.

    shift, turn : rigid best fit of as-built to plan, about the planned centroid.
        [mm, rad]
    fitted : the positions with a plate and every rod determined; `free` is the
        plate at its best placement there.
    doubtful : those of them whose rods are not all within; `held` is the plate there
        with its shift kept within the line tolerance, `as_drawn` the overrun at its
        planned place.
    slotted : those of the doubtful for which slotting is sensible: the plate does not
        go on, and no rod is so far out that it is set anew; `slots` opens the fewest
        holes there.
    """

    shift: FloatArray
    turn: FloatArray
    complete: BoolArray
    fitted_positions: IntArray
    best_fit: plate.PlateFit
    remedy_positions: IntArray
    bounded_fit: plate.PlateFit
    overrun_as_drawn: FloatArray
    slot_positions: IntArray
    slots: slots.SlotBatch


def solve_rods(
    table: CheckTable, rods: RodTable, observations: Observations
) -> AsBuiltRods:
    """Each rod from whatever lines, setbacks, offsets and gages were read."""
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
    from_line = solution.rods_mm - rods.planned
    moved = np.zeros_like(from_line)
    moved[:, 0] = np.nan_to_num(line)[rods.position]
    return AsBuiltRods(
        points=solution.rods_mm + moved,
        from_line=from_line,
        deviation=from_line + moved,
        determined=np.logical_and.reduce(solution.determined, axis=1),
        line=line,
        contradictory=solution.contradictory,
        contradicted=_find_contradicted_rows(table, rods, rows, solution, observations),
    )


def _measured_rows(
    table: CheckTable, observations: Observations, kind: CheckKind
) -> IntArray:
    """Rows of one kind that were read."""
    rows = table.rows(kind)
    return rows[observations.count[rows] > 0]


def assign_rod_verdicts(
    table: CheckTable,
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    words: np.ndarray,
) -> tuple[str, ...]:
    """Each rod's verdict: its place against `rod_location`, its line taken as built.

    A rod is never better than its own setback and offset, which are judged with the
    guard of the basis and by themselves; one whose place is not determined is judged
    only where what was read of it is outside.

    Parameters
    ----------
    table, rods, as_built, limits : the checks, and the rods planned and as built.
    words : array, shape (n_checks,)
        The checks' verdicts.
    """
    limit = limits.rod_location(rods.diameter)[:, None]
    off = np.abs(as_built.from_line) > limit + SLACK_MM
    outside = off[:, 0] | off[:, 1]
    single, every = (
        table.rows(CheckKind.SETBACK, CheckKind.OFFSET),
        table.rows(*PATTERN_KINDS),
    )
    outside[rods.rows_of_checks(table, single[words[single] == "outside"])] = True
    again = np.zeros(len(rods), dtype=bool)
    again[rods.rows_of_checks(table, every[words[every] == "remeasure"])] = True
    word = np.where(outside, "outside", "within").astype(object)
    word[~as_built.determined & ~outside] = "unmeasured"
    word[again] = "remeasure"
    return tuple(word.tolist())


def _find_contradicted_rows(
    table: CheckTable,
    rods: RodTable,
    rows: dict[CheckKind, IntArray],
    solution: pattern.PatternSolution,
    observations: Observations,
) -> IntArray:
    """Rows whose residual in the pattern's solution no uncertainty explains.

    A residual is never larger in the w-statistic's denominator than the reading's
    own uncertainty, so dividing by the latter is on the lenient side. Gages that fit
    no figure near the plan were left out of it, and are contradicted as a whole.
    """
    residuals = (
        solution.setback_residuals_mm,
        solution.offset_residuals_mm,
        solution.gage_residuals_mm,
    )
    found = [
        rows[kind][np.abs(residual) > CRITICAL_W * observations.uncertainty[rows[kind]]]
        for kind, residual in zip(PATTERN_KINDS, residuals, strict=True)
    ]
    gages = rows[CheckKind.GAGE]
    found.append(gages[solution.contradictory[rods.rows_of_checks(table, gages)[:, 0]]])
    return np.unique(np.concatenate(found))


def _single_rod_readings(
    table: CheckTable, rods: RodTable, observations: Observations, rows: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Rod rows, values and uncertainties of checks that name one rod."""
    return (
        rods.rows_of_checks(table, rows)[:, 0],
        observations.value[rows],
        observations.uncertainty[rows],
    )


def _gage_readings(
    table: CheckTable, rods: RodTable, observations: Observations, rows: IntArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Both rod rows, values and uncertainties of every gage read."""
    pairs = rods.rows_of_checks(table, rows)
    return (
        pairs[:, 0],
        pairs[:, 1],
        observations.value[rows],
        observations.uncertainty[rows],
    )


def fit_patterns(
    rods: RodTable, as_built: AsBuiltRods, limits: ToleranceLimits, doubtful: BoolArray
) -> PatternFits:
    """Group shift and turn, and the plate over the rods, for all positions at once.

    Parameters
    ----------
    rods, as_built : the rods, planned and as built.
    limits : for the line tolerance, within which the steel may move.
    doubtful : array, shape (n_positions,)
        Positions that need a remedy, and so the plate held near its planned place.
    """
    rows, real = rods.padded_rows
    complete = np.logical_and.reduce(as_built.determined[rows] | ~real, axis=1)
    shift = np.full((len(rods.groups), 2), np.nan)
    turn = np.full(len(rods.groups), np.nan)
    which = np.flatnonzero(complete)
    if which.size:
        moved = rigid_fit.fit_rigid(
            rods.planned[rows[which]], as_built.points[rows[which]], real[which]
        )
        shift[which], turn[which] = moved.shift_mm, moved.rotation_rad
    clearance = (rods.hole_diameter - rods.diameter) / 2.0
    fitted = np.flatnonzero(complete & ~np.isnan(clearance[rows]).any(axis=1))
    again = fitted[doubtful[fitted]]

    planned, built = rods.planned[rows], as_built.points[rows]
    free = plate.fit_plates(
        planned[fitted], built[fitted], clearance[rows[fitted]], real[fitted]
    )
    limit = np.full((again.size, 2), float(limits.line()))
    held = plate.fit_plates_within_limit(
        plate.select_plates(free, np.flatnonzero(doubtful[fitted])),
        planned[again],
        built[again],
        clearance[rows[again]],
        real[again],
        limit,
    )
    apart = np.linalg.norm(as_built.deviation, axis=1) - clearance
    worst = np.where(real[again], as_built.miss[rows[again]], 0.0).max(
        axis=1, initial=0
    )
    near = worst <= limits.re_anchor_beyond() + SLACK_MM
    open_ = near & (held.interference_mm > SLACK_MM)
    at = again[open_]
    return PatternFits(
        shift=shift,
        turn=turn,
        complete=complete,
        fitted_positions=fitted,
        best_fit=free,
        remedy_positions=again,
        bounded_fit=held,
        overrun_as_drawn=np.where(real[again], apart[rows[again]], -np.inf).max(
            axis=1, initial=-np.inf
        ),
        slot_positions=at,
        slots=slots.find_shortest_slots_many(
            planned[at],
            built[at],
            clearance[rows[at]],
            real[at],
            limit[open_],
            prove=False,
            known_short=True,
        ),
    )
