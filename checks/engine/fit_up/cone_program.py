"""The fit-up as a second-order cone programme, and its solution.

Over shifts s_p, turns alpha_p, the grid g, phi and the misfit t::

    minimise t subject to
      |s_p + alpha_p J h_pi - rho_pi| <= c_pi + t         every rod
      |s_p - G_p| <= line limit, along each axis of p     every position
      |alpha_p - phi| <= turn limit                       every position
      |e . (s_q - G_q - s_p + G_p)| <= limit              every bay and frame
      |n . g|, |phi| reach <= grid limit                  n square to each wall

t is the radius that the holes lack: every hole 2 t larger in diameter would do. Where
t <= 0 all goes together, and -t is the slack of the worst hole. Only the holes carry
t: put into the other constraints too it would mix what a drill cures with what it does
not.

The unknowns used are u_p = s_p - G_p in the position's axes and alpha_p - phi, which
makes every limit but the holes' own a bound or a difference of two unknowns. Turns are
linear, about 0 or about given turns: at half a degree that leaves out |h| alpha^2 / 2,
0.01 mm at 250 mm.

Solved by Clarabel [1]_, an interior point method for such programmes; its multipliers
give the slope of t in every rod (Boyd and Vandenberghe, *Convex Optimization*, 2004,
5.6.3), and as t is a convex function of the rods, each solution a lower bound of t for
all other rods (ibid., 5.6.1 and 3.1.3).

References
----------
.. [1] P. J. Goulart and Y. Chen, "Clarabel: an interior-point solver for conic
   programs with quadratic objectives", 2024.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.fit_up.problem import FitUpProblem, rotate_quarter

TOLERANCE = 1e-8
"""Relative and absolute gap at which the solver stops. [1, mm]"""

REDUCED_TOLERANCE = 1e-6
"""Gap accepted where rounding keeps the solver from that. [1, mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpSolution:
    """The best placement of all plates at once.

    Attributes
    ----------
    misfit : t above. [mm]
    shift : (n, 2) of each plate from its planned place, along and in. [mm]
    turn : (n,) of each plate. [rad]
    grid : (3,) movement of the grid along x and y, and its turn. [mm, rad]
    slope : (n, m, 2) derivative of the misfit by each rod's deviation. [1]
    """

    misfit: float
    shift: FloatArray
    turn: FloatArray
    grid: FloatArray
    slope: FloatArray

    @property
    def share(self) -> FloatArray:
        """Share of each position in the misfit, (n,), its sum 1."""
        pull = np.hypot(self.slope[..., 0], self.slope[..., 1]).sum(axis=1)
        total = float(pull.sum())
        return np.asarray(pull / total if total > 0.0 else pull)


@dataclass(frozen=True, slots=True)
class ConstraintRows:
    """Rows of A x + s = b, as triplets of a sparse matrix."""

    row: IntArray
    column: IntArray
    value: FloatArray
    bound: FloatArray  # (n_rows,) b


class ConeProgram:
    """The programme of one problem, assembled once.

    Columns: three of each plate (u along, u in, turn times radius), then three of each
    grid (g_x, g_y, phi times reach), then the openings: by how much the holes of
    some positions, or the limits of some pairs, are relaxed.
    """

    def __init__(
        self,
        problem: FitUpProblem,
        *,
        turns: FloatArray | None = None,
        grid_of: IntArray | None = None,
        opening_of: IntArray | None = None,
        opens: Literal["holes", "lengths"] = "holes",
    ) -> None:
        """Assemble the constraints.

        Parameters
        ----------
        problem : FitUpProblem
        turns : array, shape (n,), optional
            Turns about which rotation is linearised; 0 if not given. [rad]
        grid_of : array of int, shape (n,), optional
            The grid each position hangs on; one for all if not given.
        opening_of : array of int, shape (n,) or (k,), optional
            The opening of each position's holes, or of each pair's limit; one for all
            if not given.
        opens : "holes" or "lengths"
            Which constraints the openings relax. With "lengths" each grid gets an
            opening of its holes besides, behind those of the pairs.
        """
        self.problem = problem
        self.opens = opens
        n = len(problem)
        count = n if opens == "holes" else len(problem.pairs)
        self.turns = np.zeros(n) if turns is None else turns
        self.grid_of = np.zeros(n, np.intp) if grid_of is None else grid_of
        self.opening_of = np.zeros(count, np.intp) if opening_of is None else opening_of
        self.grid_column = 3 * n
        n_grids = int(self.grid_of.max(initial=0)) + 1
        self.opening_column = self.grid_column + 3 * n_grids
        n_openings = int(self.opening_of.max(initial=0)) + 1
        self.hole_column = self.opening_column
        self.hole_opening_of = self.opening_of
        if opens == "lengths":
            self.hole_column += n_openings
            self.hole_opening_of = self.grid_of
            n_openings += n_grids
        self.n_unknowns = self.opening_column + n_openings
        bounds, cones = _limit_rows(self), _hole_rows(self)
        self.n_bounds = bounds.bound.size
        self.rows = ConstraintRows(
            np.concatenate((bounds.row, self.n_bounds + cones.row)),
            np.concatenate((bounds.column, cones.column)),
            np.concatenate((bounds.value, cones.value)),
            np.concatenate((bounds.bound, cones.bound)),
        )

    def solve(self) -> FitUpSolution:
        """Find the least misfit.

        Raises
        ------
        EngineError
            If the solver does not reach its tolerance.
        """
        x, multiplier = self.run(self.cost_of_openings())
        return self.read_solution(x, multiplier)

    def solve_least_movement(self, misfit: float) -> FitUpSolution:
        """Find the placement that moves the grid least at a given misfit.

        Its movement is (g_x, g_y, phi reach), as the root of their squares.

        Parameters
        ----------
        misfit : float
            More than the least misfit. [mm]
        """
        curvature = np.zeros(self.n_unknowns)
        curvature[self.grid_column : self.opening_column] = 1.0
        x, multiplier = self.run(
            np.zeros(self.n_unknowns), curvature, largest_opening=misfit
        )
        return self.read_solution(x, multiplier)

    def cost_of_openings(self, weight: FloatArray | float = 1.0) -> FloatArray:
        """Return the cost of every column: `weight` for the openings, else 0."""
        cost = np.zeros(self.n_unknowns)
        cost[self.opening_column :] = weight
        return cost

    def run(
        self,
        cost: FloatArray,
        curvature: FloatArray | None = None,
        *,
        smallest_opening: float | None = None,
        largest_opening: float | None = None,
    ) -> tuple[FloatArray, FloatArray]:
        """Minimise cost . x + x' diag(curvature) x / 2.

        Returns
        -------
        x : array, shape (n_unknowns,)
        multiplier : array, shape (n_rows,)
            Of the constraints, without those of the bounds on openings.
        """
        rows = self.rows
        for sign, bound in ((-1.0, smallest_opening), (1.0, largest_opening)):
            if bound is not None:
                rows = self._bound_openings(rows, sign, sign * bound)
        first = rows.bound.size - self.rows.bound.size
        n_cones = (self.rows.bound.size - self.n_bounds) // 3
        x, z = run_solver(
            rows,
            cost,
            curvature,
            (first + self.n_bounds, n_cones),
        )
        return x, z[first:]

    def _bound_openings(
        self, rows: ConstraintRows, sign: float, bound: float
    ) -> ConstraintRows:
        """Return the rows with sign times every opening <= bound in front."""
        column = np.arange(self.opening_column, self.n_unknowns)
        return ConstraintRows(
            np.concatenate((np.arange(column.size), column.size + rows.row)),
            np.concatenate((column, rows.column)),
            np.concatenate((np.full(column.size, sign), rows.value)),
            np.concatenate((np.full(column.size, bound), rows.bound)),
        )

    def read_solution(self, x: FloatArray, multiplier: FloatArray) -> FitUpSolution:
        """Return placements and slopes of a programme with one grid."""
        problem = self.problem
        plates = x[: self.grid_column].reshape(-1, 3)
        grid = x[self.grid_column : self.opening_column].copy()
        grid[2] /= problem.reach
        moved = grid[:2] + grid[2] * problem.arm
        slope = np.zeros_like(problem.rods)
        slope[problem.real] = multiplier[self.n_bounds :].reshape(-1, 3)[:, 1:]
        return FitUpSolution(
            misfit=float(x[self.opening_column]),
            shift=plates[:, :2] + np.einsum("nij,nj->ni", problem.axes, moved),
            turn=plates[:, 2] / problem.radius + grid[2],
            grid=grid,
            slope=slope,
        )


def run_solver(
    rows: ConstraintRows,
    cost: FloatArray,
    curvature: FloatArray | None,
    cones: tuple[int, int],
) -> tuple[FloatArray, FloatArray]:
    """Minimise cost . x + x' diag(curvature) x / 2 with A x + s = b, s in the cones.

    Of s, the first are not negative, the others in cones of three: `cones` counts both.

    Raises
    ------
    EngineError
        If the solver does not reach its tolerance.
    """
    # Here, not above: starting the program loads no heavy library.
    import clarabel
    from scipy import sparse

    n = cost.size
    bounded, round_cones = cones
    quadratic = (
        sparse.csc_matrix((n, n))
        if curvature is None
        else sparse.diags(curvature, format="csc")
    )
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = TOLERANCE
    settings.reduced_tol_gap_abs = settings.reduced_tol_gap_rel = REDUCED_TOLERANCE
    settings.reduced_tol_feas = REDUCED_TOLERANCE
    matrix = sparse.csc_matrix(
        (rows.value, (rows.row, rows.column)), (rows.bound.size, n)
    )
    # Refining each linear solution costs a fifth of the time and is hardly ever needed.
    for refine in (False, True):
        settings.iterative_refinement_enable = refine
        found = clarabel.DefaultSolver(
            quadratic,
            cost,
            matrix,
            rows.bound,
            [
                clarabel.NonnegativeConeT(bounded),
                *[clarabel.SecondOrderConeT(3)] * round_cones,
            ],
            settings,
        ).solve()
        status = str(found.status)
        if status == "Solved" or (refine and status == "AlmostSolved"):
            return np.asarray(found.x), np.asarray(found.z)
    raise EngineError(
        f"The fit-up could not be computed: the solver stopped ({status})."
    )


def solve_fit_up(
    problem: FitUpProblem, *, turns: FloatArray | None = None
) -> FitUpSolution:
    """Find the least misfit of a building.

    Parameters
    ----------
    problem : FitUpProblem
        With at least one position.
    turns : array, shape (n,), optional
        Turns about which rotation is linearised, such as those of an earlier
        solution: the error left is then of second order in the difference. [rad]

    Raises
    ------
    EngineError
        If the solver does not reach its tolerance.
    """
    return ConeProgram(problem, turns=turns).solve()


def _limit_rows(program: ConeProgram) -> ConstraintRows:
    """Return the rows of bounds on shifts, turns, grids and pairs, both ways."""
    problem, limits = program.problem, program.problem.limits
    n, k, walls = len(problem), len(problem.pairs), problem.walls
    # Bounds of one unknown each: of the plates, then of the turn of each grid.
    n_grids = (program.opening_column - program.grid_column) // 3
    turn_column = program.grid_column + 3 * np.arange(n_grids) + 2
    single = np.concatenate((np.arange(program.grid_column), turn_column))
    width = np.full(single.size, limits.grid)
    plates = width[: 3 * n].reshape(n, 3)
    plates[:, :2] = limits.line
    plates[:, 2] = limits.turn * problem.radius
    # n . g of each grid and wall.
    wall_row = single.size + np.arange(n_grids * len(walls))
    wall_column = np.repeat(turn_column - 2, len(walls))[:, None] + np.arange(2)
    wall_value = np.tile(walls, (n_grids, 1))
    # e . (u_q - u_p) of each pair, with u in each position's own axes.
    pair_row = single.size + wall_row.size + np.arange(k)
    pair_column = (3 * problem.pairs[:, :, None] + np.arange(2)).ravel()
    along = np.einsum("kaij,kj->kai", problem.axes[problem.pairs], problem.direction)
    pair_value = (along * np.array([-1.0, 1.0])[:, None]).ravel()
    row = np.concatenate(
        (np.arange(single.size), np.repeat(wall_row, 2), np.repeat(pair_row, 4))
    )
    column = np.concatenate((single, wall_column.ravel(), pair_column))
    value = np.concatenate((np.ones(single.size), wall_value.ravel(), pair_value))
    bound = np.concatenate(
        (width, np.full(wall_row.size, limits.grid), problem.pair_limit)
    )
    m = bound.size
    rows, columns, values = [row, m + row], [column, column], [value, -value]
    if program.opens == "lengths":
        opening = program.opening_column + program.opening_of
        rows += [pair_row, m + pair_row]
        columns += [opening, opening]
        values += [-np.ones(k), -np.ones(k)]
    return ConstraintRows(
        np.concatenate(rows),
        np.concatenate(columns),
        np.concatenate(values),
        np.concatenate((bound, bound)),
    )


def _hole_rows(program: ConeProgram) -> ConstraintRows:
    """Return the cones of the holes, three rows each, in the order of the rods.

    Each cone is (c + t, s + alpha J h - rho), so that A has the signs turned.
    """
    problem = program.problem
    position, slot = np.nonzero(problem.real)
    hole, axes = problem.holes[position, slot], problem.axes[position]
    turn = program.turns[position, None]
    turned = np.cos(turn) * hole + np.sin(turn) * rotate_quarter(hole)
    lever = rotate_quarter(turned)
    by_grid = np.einsum("nij,nj->ni", axes, problem.arm[position]) + lever
    part = np.zeros((position.size, 3, 7))
    part[:, 1, 0] = part[:, 2, 1] = 1.0
    part[:, 1:, 2] = lever / problem.radius[position, None]
    part[:, 1:, 3:5] = axes
    part[:, 1:, 5] = by_grid / problem.reach
    column = np.zeros((position.size, 1, 7), dtype=np.intp)
    column[:, 0, :3] = 3 * position[:, None] + np.arange(3)
    grid = program.grid_column + 3 * program.grid_of[position, None]
    column[:, 0, 3:6] = grid + np.arange(3)
    part[:, 0, 6] = 1.0
    column[:, 0, 6] = program.hole_column + program.hole_opening_of[position]
    used = np.nonzero(part)
    bound = np.empty((position.size, 3))
    bound[:, 0] = problem.clearance[position, slot]
    # The movement at the turn linearised about, less its linear part.
    bound[:, 1:] = turned - hole - turn * lever - problem.rods[position, slot]
    return ConstraintRows(
        3 * used[0] + used[1],
        np.broadcast_to(column, part.shape)[used],
        -part[used],
        bound.ravel(),
    )
