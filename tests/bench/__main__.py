"""`python -m tests.bench` prints all benchmarks as one Markdown table.

Processor time, the best of several runs; the reference in the same process. Nothing
is asserted: the answers are held together by the tests beside each benchmark.
"""

import gc
import sys
import time
from collections.abc import Callable

import clarabel
import numpy as np

from checks.engine.outline import adjust_outline, adjust_outlines
from checks.engine.plate_fit.plate import fit_plates
from checks.engine.plate_fit.slots import find_shortest_slots_many
from checks.engine.steel_shift.best_shift import fit_steel_shift
from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests.bench import test_networks, test_plate
from tests.bench.building import document
from tests.bench.reference import Reference

Row = tuple[str, float, str, float | None]


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Least processor time of several runs. [s]"""
    best = float("inf")
    for _ in range(times):
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return best


def outlines(corners: int) -> Row:
    """A thousand outlines with every length read."""
    plan, pairs, read = test_networks.outline(corners)
    one = seconds(lambda: test_networks.by_scipy(plan, pairs, read))
    noise = np.random.default_rng(79).normal(size=(1000, len(pairs)))
    plans = np.broadcast_to(plan, (1000, *plan.shape))
    ours = seconds(lambda: adjust_outlines(plans, pairs, read + noise, 2.0))
    return f"1000 outlines of {corners} corners", ours, "scipy least_squares", one * 1e3


def outline_alone(corners: int) -> Row:
    """One outline by itself; scipy gives its corners only."""
    plan, pairs, read = test_networks.outline(corners)
    ours = seconds(lambda: [adjust_outline(plan, pairs, read, 2.0) for _ in range(100)])
    outside = seconds(
        lambda: [test_networks.by_scipy(plan, pairs, read) for _ in range(10)]
    )
    name = f"1 outline of {corners} corners"
    return name, ours / 100, "scipy least_squares, corners only", outside / 10


def plates() -> Row:
    """Ten thousand plates; the reference does not turn them to the end."""
    holes, rods, clearance = test_plate.plates()
    ours = seconds(lambda: fit_plates(holes, rods, clearance), 3)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    few = range(test_plate.SAMPLE)
    outside = seconds(
        lambda: [
            test_plate.with_clarabel(holes[i], rods[i], clearance[i], settings)
            for i in few
        ],
        1,
    )
    whole = outside * len(holes) / len(few)
    return "10 000 plates", ours, "Clarabel, linearised once", whole


def slots() -> Row:
    """Sixty plates with one rod far out, the shift limited."""
    rng = np.random.default_rng(31)
    rods = test_plate.FOUR + rng.normal(0.0, 0.6, (60, 4, 2))
    rods[:, 1, 0] += 9.0
    holes = np.broadcast_to(test_plate.FOUR, rods.shape)
    clearance, limit = np.full((60, 4), 2.4), np.full((60, 2), 3.175)
    ours = seconds(
        lambda: find_shortest_slots_many(
            holes, rods, clearance, None, limit, prove=False
        )
    )
    return "slots of 60 plates", ours, "", None


def steel() -> Row:
    """The move of a steel of sixty positions, each a little out of place."""
    rng = np.random.default_rng(37)
    place = [[7000.0 * i, 18_000.0 * j] for i in range(30) for j in range(2)]
    planned = np.array(place)[:, None] + test_plate.FOUR
    rods = planned + rng.normal(0.0, 1.6, (60, 1, 2)) + [3.0, 1.0]
    allowance = np.full((60, 4), 2.4)
    ours = seconds(lambda: fit_steel_shift(planned, rods, allowance, effort="quick"))
    return "move of 60 positions", ours, "", None


def building(*, far: bool, reuse: bool) -> Row:
    """One building evaluated whole; the reference gives no verdicts or remedies."""
    read = parse_building(document(far=far))
    result = evaluate(read)
    ours = seconds(lambda: evaluate(read), 15)
    outside = seconds(lambda: Reference(read, result, reuse=reuse).run(), 2)
    return (
        f"building of 60 positions, {'4 with a rod far out' if far else 'none out'}",
        ours,
        "statsmodels, scipy, cvxpy" + (", one problem for all plates" * reuse),
        outside,
    )


def main() -> None:
    """Print the table."""
    gc.collect()
    gc.freeze()  # what is loaded stays, as in the web program: see core/wsgi.py
    write = sys.stdout.write
    write("| what | here [ms] | reference | reference [ms] | ratio |\n")
    write("| --- | ---: | --- | ---: | ---: |\n")
    works = [
        lambda: outlines(4),
        lambda: outlines(12),
        plates,
        slots,
        steel,
        lambda: outline_alone(4),
        lambda: outline_alone(12),
        lambda: building(far=False, reuse=False),
        lambda: building(far=False, reuse=True),
        lambda: building(far=True, reuse=False),
        lambda: building(far=True, reuse=True),
    ]
    for work in works:
        what, ours, name, outside = work()
        if outside is None:
            write(f"| {what} | {ours * 1e3:.1f} | | | |\n")
        else:
            ratio = outside / ours
            write(
                f"| {what} | {ours * 1e3:.1f} | {name} | {outside * 1e3:.4g} |"
                f" {ratio:.0f} |\n"
            )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
