"""Ten thousand four-rod plates, beside Clarabel called directly, one by one.

Run with `pytest tests/bench/test_plate.py --benchmark-only -s`. Nothing is asserted
about time; the ratio is printed. Clarabel solves the problem linearised once, without
the turns that a true rotation would cost it, on a sample that is scaled up.
"""

import time

import clarabel
import numpy as np
import pytest
from scipy import sparse

from checks.engine.plate_fit.plate import fit_plates

PLATES, SAMPLE = 10_000, 1_000
FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])


def make_plates():
    rng = np.random.default_rng(21)
    holes = np.repeat(FOUR[None], PLATES, axis=0)
    rods = holes + rng.normal(0.0, 3.0, holes.shape)
    return holes, rods, np.full((PLATES, 4), 2.4)


def solve_with_clarabel(holes, rods, clearance, settings):
    m = len(holes)
    off = holes - rods
    a, b = np.zeros((3 * m, 4)), np.zeros(3 * m)
    a[0::3, 0], b[0::3] = -1.0, clearance
    a[1::3, 1], a[2::3, 1] = holes[:, 1], -holes[:, 0]
    a[1::3, 2] = a[2::3, 3] = -1.0
    b[1::3], b[2::3] = off.T
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((4, 4)), np.array([1.0, 0, 0, 0]), sparse.csc_matrix(a), b,
        [clarabel.SecondOrderConeT(3)] * m, settings,
    )  # fmt: skip
    return solver.solve().x[0]


@pytest.mark.benchmark(group="plate")
def test_ten_thousand_plates_beside_clarabel(benchmark, capsys):
    holes, rods, clearance = make_plates()
    fit = benchmark.pedantic(fit_plates, (holes, rods, clearance), rounds=5)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    started = time.perf_counter()
    one_by_one = [
        solve_with_clarabel(h, r, c, settings)
        for h, r, c in zip(
            holes[:SAMPLE], rods[:SAMPLE], clearance[:SAMPLE], strict=True
        )
    ]
    reference_s = (time.perf_counter() - started) * PLATES / SAMPLE
    with capsys.disabled():
        print(  # noqa: T201  (a benchmark reports its figures)
            f"\nClarabel {reference_s:.2f} s, here {benchmark.stats['mean']:.3f} s:"
            f" {reference_s / benchmark.stats['mean']:.0f} times"
        )
    assert fit.proven.all()
    # Linearised about no turn it differs by the turn's second order, under 0.5 mm.
    assert np.abs(np.array(one_by_one) - fit.interference_mm[:SAMPLE]).max() < 0.5
