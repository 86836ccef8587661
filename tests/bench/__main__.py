"""`python -m tests.bench` prints all benchmarks as one Markdown table.

Processor time, the best of several runs; the reference in the same process. Nothing
is asserted: the tests beside each benchmark compare the answers.
"""

import sys
import time
from collections.abc import Callable

import clarabel
import numpy as np
import orjson

from checks.engine.outline import adjust_outline, adjust_outlines
from checks.engine.plate_fit.plate import fit_plates
from checks.engine.plate_fit.slots import find_shortest_slots_many
from checks.engine.steel_shift.best_shift import fit_steel_shift
from checks.evaluation.evaluate import evaluate
from checks.management.commands.evaluate import encode_json
from core.garbage_collection import settle_garbage_collection
from jobs.exchange.input.parser import parse_building, parse_building_text
from tests.bench import test_networks, test_plate
from tests.bench.building import build_document
from tests.bench.reference import Reference, read_building

Row = tuple[str, float, str, float | None]


def measure_seconds(task: Callable[[], object], times: int = 5) -> float:
    """Return the least processor time of several runs. [s]"""
    best = float("inf")
    for _ in range(times):
        started = time.process_time()
        task()
        best = min(best, time.process_time() - started)
    return best


def bench_outlines(corners: int) -> Row:
    """Time a thousand outlines with every length read."""
    plan, pairs, read = test_networks.make_outline(corners)
    single_s = measure_seconds(
        lambda: test_networks.solve_with_scipy(plan, pairs, read)
    )
    noise = np.random.default_rng(79).normal(size=(1000, len(pairs)))
    plans = np.broadcast_to(plan, (1000, *plan.shape))
    here_s = measure_seconds(lambda: adjust_outlines(plans, pairs, read + noise, 2.0))
    return (
        f"1000 outlines of {corners} corners",
        here_s,
        "scipy least_squares",
        single_s * 1e3,
    )


def bench_single_outline(corners: int) -> Row:
    """Time one outline by itself; scipy computes its corners only."""
    plan, pairs, read = test_networks.make_outline(corners)
    here_s = measure_seconds(
        lambda: [adjust_outline(plan, pairs, read, 2.0) for _ in range(100)]
    )
    reference_s = measure_seconds(
        lambda: [test_networks.solve_with_scipy(plan, pairs, read) for _ in range(10)]
    )
    name = f"1 outline of {corners} corners"
    return name, here_s / 100, "scipy least_squares, corners only", reference_s / 10


def bench_plates() -> Row:
    """Time ten thousand plates; the reference linearises the rotation once."""
    holes, rods, clearance = test_plate.make_plates()
    here_s = measure_seconds(lambda: fit_plates(holes, rods, clearance), 3)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    few = range(test_plate.SAMPLE)
    reference_s = measure_seconds(
        lambda: [
            test_plate.solve_with_clarabel(holes[i], rods[i], clearance[i], settings)
            for i in few
        ],
        1,
    )
    whole = reference_s * len(holes) / len(few)
    return "10 000 plates", here_s, "Clarabel, linearised once", whole


def bench_slots() -> Row:
    """Time the slots of sixty plates with one rod far out, shift and turn limited."""
    rng = np.random.default_rng(31)
    rods = test_plate.FOUR + rng.normal(0.0, 0.6, (60, 4, 2))
    rods[:, 1, 0] += 9.0
    holes = np.broadcast_to(test_plate.FOUR, rods.shape)
    clearance, limit = np.full((60, 4), 2.4), np.full((60, 2), 3.175)
    turn = np.full(60, np.radians(0.5))
    here_s = measure_seconds(
        lambda: find_shortest_slots_many(
            holes,
            rods,
            clearance,
            shift_limit_mm=limit,
            rotation_limit_rad=turn,
            known_short=True,
        )
    )
    return "slots of 60 plates", here_s, "", None


def bench_steel_shift() -> Row:
    """Time the shift of a steel of sixty positions, each a little out of place."""
    rng = np.random.default_rng(37)
    place = [[7000.0 * i, 18_000.0 * j] for i in range(30) for j in range(2)]
    planned = np.array(place)[:, None] + test_plate.FOUR
    rods = planned + rng.normal(0.0, 1.6, (60, 1, 2)) + [3.0, 1.0]
    allowance = np.full((60, 4), 2.4)
    here_s = measure_seconds(
        lambda: fit_steel_shift(planned, rods, allowance, effort="quick")
    )
    return "move of 60 positions", here_s, "", None


def bench_building(*, far: bool, reuse: bool) -> Row:
    """Time one whole building; the reference computes no verdicts or remedies."""
    read = parse_building(build_document(far=far))
    result = evaluate(read)
    here_s = measure_seconds(lambda: evaluate(read), 15)
    reference_s = measure_seconds(lambda: Reference(read, result, reuse=reuse).run(), 2)
    return (
        f"building of 60 positions, {'4 with a rod far out' if far else 'none out'}",
        here_s,
        "statsmodels, scipy, cvxpy" + (", one problem for all plates" * reuse),
        reference_s,
    )


def bench_document() -> Row:
    """Time one document from its bytes to the bytes of its result."""
    text = orjson.dumps(build_document(far=False))
    result = evaluate(parse_building_text(text))
    here_s = measure_seconds(
        lambda: encode_json(evaluate(parse_building_text(text))), 15
    )
    reference_s = measure_seconds(
        lambda: Reference(read_building(text), result).run(), 2
    )
    name = "json, statsmodels, scipy, cvxpy"
    return "document of 60 positions to result", here_s, name, reference_s


def bench_growth(positions: int, smaller: int, *, far: bool) -> Row:
    """Time a long building; the reference is a smaller one, in proportion."""
    seconds = {}
    for count in (smaller, positions):
        read = parse_building(build_document(count, far=far))
        seconds[count] = measure_seconds(lambda read=read: evaluate(read), 3)
    exponent = np.log(seconds[positions] / seconds[smaller]) / np.log(
        positions / smaller
    )
    what = f"building of {positions} positions{', 1 in 15 far out' * far}"
    return f"{what}: exponent {exponent:.2f}", seconds[positions], "", None


def main() -> None:
    """Print the table."""
    settle_garbage_collection()  # as in the web program and its workers
    write = sys.stdout.write
    write("| what | here [ms] | reference | reference [ms] | ratio |\n")
    write("| --- | ---: | --- | ---: | ---: |\n")
    benchmarks = [
        lambda: bench_outlines(4),
        lambda: bench_outlines(12),
        bench_plates,
        bench_slots,
        bench_steel_shift,
        lambda: bench_single_outline(4),
        lambda: bench_single_outline(12),
        lambda: bench_building(far=False, reuse=False),
        lambda: bench_building(far=False, reuse=True),
        lambda: bench_building(far=True, reuse=False),
        lambda: bench_building(far=True, reuse=True),
        bench_document,
        lambda: bench_growth(1000, 60, far=False),
        lambda: bench_growth(4000, 1000, far=False),
        lambda: bench_growth(1000, 60, far=True),
        lambda: bench_growth(4000, 1000, far=True),
    ]
    for task in benchmarks:
        what, here_s, name, reference_s = task()
        if reference_s is None:
            write(f"| {what} | {here_s * 1e3:.1f} | | | |\n")
        else:
            ratio = reference_s / here_s
            write(
                f"| {what} | {here_s * 1e3:.1f} | {name} | {reference_s * 1e3:.4g} |"
                f" {ratio:.0f} |\n"
            )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
