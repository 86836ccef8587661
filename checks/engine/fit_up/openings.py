"""Which plates to open first, and by how much.

Opening every hole by the misfit would do, and is far more than is needed. Instead each
plate gets an opening of its own, and the sum of the openings is made small::

    minimise sum of w_p o_p, o_p >= 0, with c_pi + o_p in place of c_pi + t

first with w = 1, then twice more with w = 1 / (o + 0.05 mm) [1]_, which prefers few
plates to many that are opened a little. One repetition leaves a trace of an opening
where two plates serve equally well, and the plate would be ordered opened.

References
----------
.. [1] E. J. Candès, M. B. Wakin and S. P. Boyd, "Enhancing sparsity by reweighted l1
   minimization", J. Fourier Anal. Appl. 14, 2008, equation 9.
"""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.fit_up.cone_program import ConeProgram
from checks.engine.fit_up.problem import FitUpProblem

SMALL_OPENING_MM = 0.05
"""Openings below this weigh nearly the same in the second pass. Project choice."""

PASSES = 3

NO_OPENING_MM = 1e-3
"""Opening below which the solver means none."""


def find_openings(problem: FitUpProblem) -> FloatArray:
    """Find few plates whose opening makes all go together.

    Returns
    -------
    array, shape (n,)
        Radius to add to the holes of each plate, 0 for most. [mm]

    Raises
    ------
    EngineError
        If the solver does not reach its tolerance.
    """
    program = ConeProgram(problem, opening_of=np.arange(len(problem)))
    opening = np.zeros(len(problem))
    weight = np.ones(len(problem))
    for _ in range(PASSES):
        x, _ = program.run(program.cost_of_openings(weight), smallest_opening=0.0)
        opening = np.maximum(x[program.opening_column :], 0.0)
        weight = 1.0 / (opening + SMALL_OPENING_MM)
        weight /= weight.min()
    opening[opening < NO_OPENING_MM] = 0.0
    return opening
