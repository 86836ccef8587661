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
from checks.engine.fit_up.problem import FitUpProblem
from checks.engine.fit_up.program_matrix import ProgramLayout, find_matrix


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


class ConeProgram:
    """The programme of one problem; `program_matrix` has its columns."""

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
        n = len(problem)
        count = n if opens == "holes" else len(problem.pairs)
        layout = ProgramLayout(
            problem=problem,
            turns=np.zeros(n) if turns is None else turns,
            grid_of=np.zeros(n, np.intp) if grid_of is None else grid_of,
            opening_of=np.zeros(count, np.intp) if opening_of is None else opening_of,
            opens=opens,
        )
        self.grid_column = layout.grid_column
        self.opening_column = layout.opening_column
        self.n_unknowns = layout.n_unknowns
        self.matrix = find_matrix(layout)
        self.bound = _bounds_of_limits(problem, layout.n_grids)
        self.bound = np.concatenate(
            (self.bound, _bounds_of_holes(problem, self.matrix.movement))
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
        limits = {-1.0: smallest_opening, 1.0: largest_opening}
        sides = [(sign, sign * at) for sign, at in limits.items() if at is not None]
        n_openings = self.n_unknowns - self.opening_column
        first = n_openings * len(sides)
        before = np.repeat([at for _, at in sides], n_openings)
        solver = self.matrix.solver(*(sign for sign, _ in sides))
        x, z = solver.solve(np.concatenate((before, self.bound)), cost, curvature)
        return x, z[first:]

    def read_solution(self, x: FloatArray, multiplier: FloatArray) -> FitUpSolution:
        """Return placements and slopes of a programme with one grid."""
        problem = self.problem
        plates = x[: self.grid_column].reshape(-1, 3)
        grid = x[self.grid_column : self.opening_column].copy()
        grid[2] /= problem.reach
        moved = grid[:2] + grid[2] * problem.arm
        slope = np.zeros_like(problem.rods)
        slope[problem.real] = multiplier[self.matrix.n_bounds :].reshape(-1, 3)[:, 1:]
        return FitUpSolution(
            misfit=float(x[self.opening_column]),
            shift=plates[:, :2] + np.einsum("nij,nj->ni", problem.axes, moved),
            turn=plates[:, 2] / problem.radius + grid[2],
            grid=grid,
            slope=slope,
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


def _bounds_of_limits(problem: FitUpProblem, n_grids: int) -> FloatArray:
    """Return b of the bounds on shifts, turns, grids and pairs, both ways."""
    n, limits = len(problem), problem.limits
    n_walls = n_grids * len(problem.walls)
    width = np.full(3 * n + n_grids + n_walls, limits.grid)
    plates = width[: 3 * n].reshape(n, 3)
    plates[:, :2] = limits.line
    plates[:, 2] = limits.turn * problem.radius
    return np.tile(np.concatenate((width, problem.pair_limit)), 2)


def _bounds_of_holes(problem: FitUpProblem, movement: FloatArray) -> FloatArray:
    """Return b of the cones of the holes: clearance, and movement less rod."""
    bound = np.empty((len(movement), 3))
    bound[:, 0] = problem.clearance[problem.real]
    bound[:, 1:] = movement - problem.rods[problem.real]
    return bound.ravel()
