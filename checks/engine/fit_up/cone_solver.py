"""Clarabel, with the work kept that does not depend on what was measured.

Setting a solver up (scaling and ordering the equations) takes as long as solving. It
depends on the matrix and the costs alone, not on the bounds in which readings stand, so
that solvers are kept, and given new bounds.
"""

from typing import TYPE_CHECKING

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.errors import EngineError

if TYPE_CHECKING:
    import clarabel
    from scipy import sparse

TOLERANCE = 1e-8
"""Relative and absolute gap at which the solver stops. [1, mm]"""

REDUCED_TOLERANCE = 1e-6
"""Gap accepted where rounding keeps the solver from that. [1, mm]"""

FULL_STEP, SHORT_STEP = 0.99, 0.8
"""Share of the way to the border of the cones that a step goes: the solver's own value,
and that of the last trial."""

MAX_KEPT_ROWS = 12_000
"""Rows of the largest programme whose solver is kept: some 500 positions, 10 MB."""

MAX_KEPT_SOLVERS = 4
"""Solvers kept for one matrix, of different costs."""


class ConeSolver:
    """Minimises cost . x + x' diag(curvature) x / 2 with A x + s = b, s in the cones.

    Of s, the first are not negative, the others in cones of three.
    """

    def __init__(self, matrix: "sparse.csc_matrix", bounded: int) -> None:
        """Prepare programmes of one matrix.

        Parameters
        ----------
        matrix : sparse matrix, shape (n_rows, n_unknowns)
            A above.
        bounded : int
            How many of s are not negative, the first of them.
        """
        self.matrix = matrix
        self.bounded = bounded
        self._idle: dict[tuple[bytes, bytes | None], clarabel.DefaultSolver] = {}

    def solve(
        self,
        bound: FloatArray,
        cost: FloatArray,
        curvature: FloatArray | None = None,
    ) -> tuple[FloatArray, FloatArray]:
        """Find the least cost.

        Parameters
        ----------
        bound : array, shape (n_rows,)
            b above.
        cost : array, shape (n_unknowns,)
        curvature : array, shape (n_unknowns,), optional
            0 if not given.

        Returns
        -------
        x : array, shape (n_unknowns,)
        multiplier : array, shape (n_rows,)

        Raises
        ------
        EngineError
            If the solver does not reach its tolerance.
        """
        key = cost.tobytes(), None if curvature is None else curvature.tobytes()
        # Taken out while it is used: another thread sets up its own.
        solver = self._idle.pop(key, None)
        if solver is None:
            solver = self._set_up(bound, cost, curvature, refine=False)
        # Also a new one: bounds are scaled by other rounding when it is set up, and an
        # answer must not depend on what was solved before.
        solver.update(b=bound)
        found = solver.solve()
        # A solver that failed is not used again.
        if str(found.status) == "Solved":
            if bound.size <= MAX_KEPT_ROWS and len(self._idle) < MAX_KEPT_SOLVERS:
                self._idle[key] = solver
            return np.asarray(found.x), np.asarray(found.z)
        # Refining each linear solution costs a fifth of the time and is hardly ever
        # needed; shorter steps, where full ones come too near to the cones.
        for step in (FULL_STEP, SHORT_STEP):
            retry = self._set_up(bound, cost, curvature, refine=True, step=step)
            found = retry.solve()
            if str(found.status) in ("Solved", "AlmostSolved"):
                return np.asarray(found.x), np.asarray(found.z)
        raise EngineError(
            f"The fit-up could not be computed: the solver stopped ({found.status})."
        )

    def _set_up(
        self,
        bound: FloatArray,
        cost: FloatArray,
        curvature: FloatArray | None,
        *,
        refine: bool,
        step: float = FULL_STEP,
    ) -> "clarabel.DefaultSolver":
        # Here, not above: starting the program loads no heavy library.
        import clarabel
        from scipy import sparse

        settings = clarabel.DefaultSettings()
        settings.verbose = False
        settings.max_threads = 1
        settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = TOLERANCE
        settings.reduced_tol_gap_abs = REDUCED_TOLERANCE
        settings.reduced_tol_gap_rel = REDUCED_TOLERANCE
        settings.reduced_tol_feas = REDUCED_TOLERANCE
        settings.iterative_refinement_enable = refine
        settings.max_step_fraction = step
        # There is nothing to leave out, and bounds could not be changed afterwards.
        settings.presolve_enable = False
        n_rows, n = self.matrix.shape
        quadratic = (
            sparse.csc_matrix((n, n))
            if curvature is None
            else sparse.diags(curvature, format="csc")
        )
        round_cones = (n_rows - self.bounded) // 3
        return clarabel.DefaultSolver(
            quadratic,
            cost,
            self.matrix,
            bound,
            [
                clarabel.NonnegativeConeT(self.bounded),
                *[clarabel.SecondOrderConeT(3)] * round_cones,
            ],
            settings,
        )
