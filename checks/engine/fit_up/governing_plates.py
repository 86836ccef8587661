"""The misfit from the few plates that govern it, proved for the others by a placement.

Leaving plates and pairs out of the programme of `cone_program` can only lower its
misfit t. Where all the plates left out find a place with no more than that t, t is the
misfit of the whole building. A good place is at hand: that of each plate by itself,
within the limits of a grid that stays (`plate_fit`). From there a plate whose overrun
is t_p may still move by a shift ds and a turn da as long as ::

    |ds| + r |da| <= t - t_p,   r the distance of its furthest hole

since no hole moves further than the left-hand side. Plates outside the limits of a grid
that has moved, or at the ends of a pair whose distance changes too much, are moved that
far towards their place on the grid. Those for which that is not enough join the
programme; where many do, the whole programme is solved.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.fit_up.cone_program import ConeProgram, FitUpSolution
from checks.engine.fit_up.problem import FitUpProblem, rotate_quarter

MAX_GOVERNING_SHARE = 0.5
"""Share of the plates above which solving for all is no dearer."""

LIMIT_SLACK_MM = 1e-6
"""By how much a limit may be passed: the tolerance of every limit."""

MAX_LINEARISATIONS = 4
LINEAR_MM = 1e-7
"""Error of a linear rotation that is small enough."""

MOVE_ROUNDS = 4
"""A plate moved for one pair may break another: so often that is followed up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SinglePlacements:
    """The best place of each plate by itself, on a grid in its planned place.

    Attributes
    ----------
    shift : (n, 2) along and in. [mm]
    turn : (n,) [rad]
    overrun : (n,) of the worst hole there; infinite where no such place is known. [mm]
    least : (n,) a lower bound of the plate's overrun, whatever the grid does. [mm]
    """

    shift: FloatArray
    turn: FloatArray
    overrun: FloatArray
    least: FloatArray

    def with_clearance_added(self, added: FloatArray) -> "SinglePlacements":
        """Return the same places in holes of more clearance, (n,). [mm]"""
        return replace(self, overrun=self.overrun - added, least=self.least - added)


def solve_governing_plates(
    problem: FitUpProblem, singles: SinglePlacements
) -> FitUpSolution:
    """Find the least misfit of a building.

    Parameters
    ----------
    problem : FitUpProblem
        With at least one position.
    singles : SinglePlacements
        Of the same positions.

    Returns
    -------
    FitUpSolution
        Its slopes are 0 for the plates that do not govern.

    Raises
    ------
    EngineError
        If the solver does not reach its tolerance.
    """
    # Only these can raise the misfit above what one plate has at the least.
    governing = singles.overrun > singles.least.max()
    governing[np.argmax(singles.overrun)] = True
    while governing.sum() <= max(1, MAX_GOVERNING_SHARE * len(problem)):
        chosen = np.flatnonzero(governing)
        found = _solve_part(problem, chosen, singles.turn[chosen])
        placed, unplaced = _place_others(problem, singles, chosen, found)
        if not unplaced.any():
            return placed
        governing |= unplaced
    return _solve_turned(problem, singles.turn)


def prove_pair_misfits(
    problem: FitUpProblem, singles: SinglePlacements, pairs: IntArray
) -> tuple[FloatArray, BoolArray]:
    """Compute the misfit of bays and frames that the single placements prove.

    Parameters
    ----------
    problem : FitUpProblem
    singles : SinglePlacements
    pairs : array of int, shape (k,)
        Rows of `problem.pairs`.

    Returns
    -------
    misfit : array, shape (k,)
        The larger overrun of the two plates. [mm]
    proved : array of bool, shape (k,)
        True where it is the misfit of the pair.
    """
    ends = problem.pairs[pairs]
    overrun = singles.overrun[ends]
    misfit = overrun.max(axis=1)
    proved = np.isfinite(misfit) & (
        misfit <= singles.least[ends].max(axis=1) + LIMIT_SLACK_MM
    )
    proved &= _exceed_length(problem, singles.shift)[pairs] <= LIMIT_SLACK_MM
    return misfit, proved


def _solve_turned(problem: FitUpProblem, turns: FloatArray) -> FitUpSolution:
    """Solve a problem, linearised again about its own turns until that adds nothing."""
    for _ in range(MAX_LINEARISATIONS):
        found = ConeProgram(problem, turns=turns).solve()
        # What the linear model leaves out: |h| da^2 / 2.
        left_out = problem.radius * (found.turn - turns) ** 2 / 2.0
        turns = found.turn
        if left_out.max() <= LINEAR_MM:
            break
    return found


def _solve_part(
    problem: FitUpProblem, chosen: IntArray, turns: FloatArray
) -> FitUpSolution:
    """Solve for some plates and the pairs among them, on a still grid if it will do."""
    part = problem.select_positions(chosen)
    found = _solve_turned(part, turns)
    return replace(found, grid=np.zeros(3)) if stands_still(part, found) else found


def stands_still(problem: FitUpProblem, placed: FitUpSolution) -> bool:
    """Return True where plates so placed are within all limits of an unmoved grid."""
    limits = problem.limits
    return bool(
        np.all(np.abs(placed.shift) <= limits.line)
        and np.all(np.abs(placed.turn) <= limits.turn)
        and np.all(_exceed_length(problem, placed.shift) <= 0.0)
    )


def _place_others(
    problem: FitUpProblem,
    singles: SinglePlacements,
    chosen: IntArray,
    found: FitUpSolution,
) -> tuple[FitUpSolution, BoolArray]:
    """Place the plates that were not solved for; also tell for which that fails."""
    limits, grid = problem.limits, found.grid
    moved = np.einsum("nij,nj->ni", problem.axes, grid[:2] + grid[2] * problem.arm)
    # Shifts and turns from here on are those against the grid.
    start, turned = singles.shift - moved, singles.turn - grid[2]
    length = np.hypot(start[:, 0], start[:, 1]) + problem.radius * np.abs(turned)
    slack = found.misfit - singles.overrun
    part = np.clip(slack / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    turn_slack = LIMIT_SLACK_MM / problem.radius

    def place(moves: BoolArray) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return shifts, turns, and the plates beyond a limit."""
        stays = np.where(moves, 1.0 - part, 1.0)
        shift, turn = stays[:, None] * start, stays * turned
        shift[chosen] = found.shift - moved[chosen]
        turn[chosen] = found.turn - grid[2]
        beyond = (np.abs(shift) > limits.line + LIMIT_SLACK_MM).any(axis=1)
        beyond |= np.abs(turn) > limits.turn + turn_slack
        beyond[problem.pairs[_exceed_length(problem, shift) > LIMIT_SLACK_MM]] = True
        return shift, turn, beyond

    moves: BoolArray = np.zeros(len(problem), dtype=bool)
    shift, turn, beyond = place(moves)
    for _ in range(MOVE_ROUNDS):
        if not (beyond & ~moves).any():
            break
        moves |= beyond
        shift, turn, beyond = place(moves)
    shift, turn = shift + moved, turn + grid[2]
    # Infinite where no place is known.
    overrun = np.maximum(_compute_overrun(problem, shift, turn), singles.overrun)
    unplaced = beyond | (overrun > found.misfit + LIMIT_SLACK_MM)
    unplaced[chosen] = False
    slope = np.zeros_like(problem.rods)
    slope[chosen] = found.slope
    return replace(found, shift=shift, turn=turn, slope=slope), unplaced


def _compute_overrun(
    problem: FitUpProblem, shift: FloatArray, turn: FloatArray
) -> FloatArray:
    """Compute the overrun of each plate's worst hole at a placement, (n,). [mm]"""
    cosine, sine = np.cos(turn)[:, None, None], np.sin(turn)[:, None, None]
    placed = cosine * problem.holes + sine * rotate_quarter(problem.holes)
    gap = placed + shift[:, None] - problem.holes - problem.rods
    overrun = np.hypot(gap[..., 0], gap[..., 1]) - problem.clearance
    return np.asarray(np.where(problem.real, overrun, -np.inf).max(axis=1))


def _exceed_length(problem: FitUpProblem, shift: FloatArray) -> FloatArray:
    """Compute by how much each pair's distance changes beyond its limit, (k,). [mm]

    `shift` is that of the plates against the grid.
    """
    along = np.einsum("ni,nij->nj", shift, problem.axes)
    apart = along[problem.pairs[:, 1]] - along[problem.pairs[:, 0]]
    change = np.abs((apart * problem.direction).sum(axis=1))
    return np.asarray(change - problem.pair_limit)
