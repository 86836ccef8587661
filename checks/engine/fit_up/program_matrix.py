"""The matrix of a fit-up's cone programme: what its constraints say of the plan.

Columns: three of each plate (u along, u in, turn times radius), then three of each
grid (g_x, g_y, phi times reach), then the openings: by how much the holes of some
positions, or the limits of some pairs, are relaxed. `cone_program` has the formulas.

Rods and limits stand in the bounds alone. So, linearised about no turns, the matrix is
the same for all rods that a plan may have: it is kept.
"""

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.fit_up.cone_solver import ConeSolver
from checks.engine.fit_up.problem import FitUpProblem, rotate_quarter

MAX_KEPT_POSITIONS = 500
"""Positions of the largest building whose matrix is kept."""

MAX_KEPT_MATRICES = 32


@dataclass(frozen=True, slots=True)
class ConstraintRows:
    """Coefficients A of constraints A x + s = b, as triplets of a sparse matrix."""

    row: IntArray
    column: IntArray
    value: FloatArray


@dataclass(frozen=True, kw_only=True)
class ProgramLayout:
    """Layout of a programme: all that its matrix depends on, and compared by that.

    Attributes
    ----------
    problem : its rods, clearances and limits do not count.
    turns : (n,) turns about which rotation is linearised. [rad]
    grid_of : (n,) the grid each position hangs on.
    opening_of : (n,) or (k,) the opening of each position's holes, or of each pair's
        limit.
    opens : which constraints the openings relax. With "lengths" each grid gets an
        opening of its holes besides, behind those of the pairs.
    """

    problem: FitUpProblem
    turns: FloatArray
    grid_of: IntArray
    opening_of: IntArray
    opens: Literal["holes", "lengths"]
    _content: tuple[object, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Collect what layouts are compared by."""
        problem = self.problem
        arrays = (
            *(self.turns, self.grid_of, self.opening_of, problem.holes, problem.real),
            *(problem.axes, problem.arm, problem.walls, problem.pairs),
            problem.direction,
        )
        content = (
            self.opens,
            problem.reach,
            problem.real.shape,
            *(each.tobytes() for each in arrays),
        )
        object.__setattr__(self, "_content", content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ProgramLayout) and other._content == self._content

    def __hash__(self) -> int:
        return hash(self._content)

    @cached_property
    def n_grids(self) -> int:
        """Number of grids."""
        return int(self.grid_of.max(initial=0)) + 1

    @property
    def grid_column(self) -> int:
        """First column of the grids."""
        return 3 * len(self.problem)

    @property
    def opening_column(self) -> int:
        """First column of the openings."""
        return self.grid_column + 3 * self.n_grids

    @cached_property
    def hole_openings(self) -> IntArray:
        """Column of the opening of each position's holes, (n,)."""
        if self.opens == "holes":
            return self.opening_column + self.opening_of
        n_lengths = int(self.opening_of.max(initial=0)) + 1
        return self.opening_column + n_lengths + self.grid_of

    @cached_property
    def n_unknowns(self) -> int:
        """Number of columns."""
        return int(self.hole_openings.max(initial=self.opening_column)) + 1


@dataclass(frozen=True, kw_only=True)
class ProgramMatrix:
    """The matrix of one layout, and the solvers of its programmes.

    Attributes
    ----------
    n_bounds : rows of bounds; those of the cones follow, three of each rod.
    movement : (n_rods, 2) of each hole at the turn linearised about, less its linear
        part. [mm]
    """

    rows: ConstraintRows
    n_rows: int
    n_unknowns: int
    opening_column: int
    n_bounds: int
    movement: FloatArray
    _solvers: dict[tuple[float, ...], ConeSolver] = field(
        default_factory=dict, init=False
    )

    def solver(self, *signs: float) -> ConeSolver:
        """Return the solver, with bounds on the openings in front of the other rows.

        Parameters
        ----------
        signs : float
            For each bound, the coefficient of every opening in it.
        """
        if signs not in self._solvers:
            self._solvers[signs] = self._prepare_solver(signs)
        return self._solvers[signs]

    def _prepare_solver(self, signs: tuple[float, ...]) -> ConeSolver:
        # Here, not above: starting the program loads no heavy library.
        from scipy import sparse

        openings = np.arange(self.opening_column, self.n_unknowns)
        column = np.tile(openings, len(signs))
        rows, first = self.rows, column.size
        triplets = (
            np.concatenate((np.repeat(signs, openings.size), rows.value)),
            (
                np.concatenate((np.arange(first), first + rows.row)),
                np.concatenate((column, rows.column)),
            ),
        )
        shape = first + self.n_rows, self.n_unknowns
        return ConeSolver(
            sparse.csc_matrix(triplets, shape), bounded=first + self.n_bounds
        )


def find_matrix(layout: ProgramLayout) -> ProgramMatrix:
    """Return the matrix of a layout, assembled now or before."""
    # Turns are measured: such a matrix hardly comes back.
    if len(layout.problem) > MAX_KEPT_POSITIONS or layout.turns.any():
        return _assemble_matrix.__wrapped__(layout)
    return _assemble_matrix(layout)


@lru_cache(maxsize=MAX_KEPT_MATRICES)
def _assemble_matrix(layout: ProgramLayout) -> ProgramMatrix:
    bounds, n_bounds = _limit_rows(layout)
    cones, movement = _hole_rows(layout)
    return ProgramMatrix(
        rows=ConstraintRows(
            np.concatenate((bounds.row, n_bounds + cones.row)),
            np.concatenate((bounds.column, cones.column)),
            np.concatenate((bounds.value, cones.value)),
        ),
        n_rows=n_bounds + 3 * len(movement),
        n_unknowns=layout.n_unknowns,
        opening_column=layout.opening_column,
        n_bounds=n_bounds,
        movement=movement,
    )


def _limit_rows(layout: ProgramLayout) -> tuple[ConstraintRows, int]:
    """Return the rows of bounds on shifts, turns, grids and pairs, both ways."""
    problem = layout.problem
    k, walls, n_grids = len(problem.pairs), problem.walls, layout.n_grids
    # Bounds of one unknown each: of the plates, then of the turn of each grid.
    turn_column = layout.grid_column + 3 * np.arange(n_grids) + 2
    single = np.concatenate((np.arange(layout.grid_column), turn_column))
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
    m = single.size + wall_row.size + k
    rows, columns, values = [row, m + row], [column, column], [value, -value]
    if layout.opens == "lengths":
        opening = layout.opening_column + layout.opening_of
        rows += [pair_row, m + pair_row]
        columns += [opening, opening]
        values += [-np.ones(k), -np.ones(k)]
    return (
        ConstraintRows(
            np.concatenate(rows), np.concatenate(columns), np.concatenate(values)
        ),
        2 * m,
    )


def _hole_rows(layout: ProgramLayout) -> tuple[ConstraintRows, FloatArray]:
    """Return the cones of the holes, three rows each, in the order of the rods.

    Each cone is (c + t, s + alpha J h - rho), so that A has the signs turned. Also
    returned is the movement of each hole that its linear part leaves out.
    """
    problem = layout.problem
    position, slot = np.nonzero(problem.real)
    hole, axes = problem.holes[position, slot], problem.axes[position]
    turn = layout.turns[position, None]
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
    grid = layout.grid_column + 3 * layout.grid_of[position, None]
    column[:, 0, 3:6] = grid + np.arange(3)
    part[:, 0, 6] = 1.0
    column[:, 0, 6] = layout.hole_openings[position]
    used = np.nonzero(part)
    return (
        ConstraintRows(
            3 * used[0] + used[1],
            np.broadcast_to(column, part.shape)[used],
            -part[used],
        ),
        turned - hole - turn * lever,
    )
