"""Solvers that are kept: an answer does not depend on what was solved before."""

from dataclasses import replace

import numpy as np
import pytest

from checks.engine.fit_up.cone_program import ConeProgram, FitUpSolution
from checks.engine.fit_up.problem import FitUpProblem
from tests.checks.engine.fit_up.test_governing_plates import draw_row


def forget_solvers(problem: FitUpProblem) -> None:
    """Forget the solvers of a problem, so that it gets a new one."""
    ConeProgram(problem).matrix._solvers.clear()


def equal(one: FitUpSolution, other: FitUpSolution) -> bool:
    return one.misfit == other.misfit and all(
        np.array_equal(getattr(one, name), getattr(other, name))
        for name in ("shift", "turn", "grid", "slope")
    )


@pytest.mark.parametrize("seed", range(4))
def test_a_kept_solver_answers_as_a_new_one_to_the_last_bit(seed: int) -> None:
    problem = draw_row(seed, columns=9)
    other = problem.with_rods(3.0 * problem.rods[::-1])
    forget_solvers(problem)
    alone = ConeProgram(problem).solve()
    ConeProgram(other).solve()
    again = ConeProgram(problem).solve()
    assert ConeProgram(problem).matrix.solver()._idle  # the solver was kept
    assert equal(again, alone)


def test_a_matrix_is_kept_for_other_rods_and_not_for_other_holes() -> None:
    problem = draw_row(1, columns=5)
    program = ConeProgram(problem)
    assert ConeProgram(problem.with_rods(2.0 * problem.rods)).matrix is program.matrix
    wider = replace(problem, holes=1.01 * problem.holes)
    assert ConeProgram(wider).matrix is not program.matrix


def test_a_programme_linearised_about_turns_is_not_kept() -> None:
    problem = draw_row(2, columns=5)
    turns = np.full(5, 0.001)
    first = ConeProgram(problem, turns=turns)
    assert ConeProgram(problem, turns=turns).matrix is not first.matrix
