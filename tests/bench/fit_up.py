"""Reliability of the probability of fit-up: simulated jobs, careful and careless.

`python -m tests.bench.fit_up [--buildings 40] [--seed 1]` builds foundations, lets the
project's crews measure them, computes the probability of each building and compares it
with the truth: whether the steel goes together on the rods as built. It prints a row
for every range of probability, and one for buildings called 0.85 to 0.95.

The mix: half the crews set out carefully (spreads of the demo times 0.8 to 1.3), half
carelessly (times 1.3 to 2.2); independently, in half of the jobs one position in twenty
stands 4 to 10 mm off. The corners stand true: they have findings of their own. Readings
are in sixteenths, decimal feet or millimetres, with noise of 0.3 to 0.8 mm and 0.01 to
0.05 mm a metre, and one error of the tape within its class. How often each happens on a
site is a project choice, from no published source.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from checks.demo.crew import Crew, LengthStyle, take_readings, write_entries
from checks.demo.foundation import (
    BuiltFoundation,
    FoundationSpread,
    build_foundation,
    shift_pattern,
)
from checks.demo.plan_documents import build_hall
from checks.engine.fit_up.cone_program import solve_fit_up
from checks.engine.fit_up.probability import CUTS
from checks.engine.uncertainty import tape_class_limit
from checks.evaluation.evaluate import compute_evaluation
from checks.evaluation.fit_up_probability import (
    bound_probability,
    compute_fit_up_probability,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

STARTED_AT = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
READ_KINDS = (CheckKind.LINE, CheckKind.SETBACK, CheckKind.OFFSET)
GROSS_SHARE = 0.05
GROSS_MM = (4.0, 10.0)
NOISE_MM = (0.3, 0.8)  # of one short reading
NOISE_PER_M_MM = (0.01, 0.05)
EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.85, 0.95, 1.0)
STYLES: tuple[LengthStyle, ...] = ("sixteenths", "decimal_feet", "millimetres")


@dataclass(frozen=True, slots=True)
class SimulatedJob:
    """One job: what was computed, and the truth."""

    careless: bool
    gross: bool
    probability: float
    bound_as_read: float | None
    misfit_as_read: float
    true_misfit: float


@lru_cache
def list_halls() -> tuple[tuple[dict[str, Any], Plan], ...]:
    """List the buildings simulated: two halls with plates, one with end walls."""
    documents = (
        build_hall("Hall", "150'", "60'", "6 @ 25'", "3 @ 20'"),
        build_hall("Shed", "100'", "40'", "5 @ 20'", "2 @ 20'"),
        build_hall("Works", "100'", "60'", "4 @ 25'", "3 @ 20'", web_ends=True),
    )
    return tuple((each, parse_building(each).plan) for each in documents)


def build_concrete(
    plan: Plan, rng: np.random.Generator, *, careless: bool, gross: bool
) -> BuiltFoundation:
    """Build a foundation with the spreads of one of the two kinds of crews."""
    factor = rng.uniform(1.3, 2.2) if careless else rng.uniform(0.8, 1.3)
    spread = replace(FoundationSpread().scale(float(factor)), corner=0.0)
    built = build_foundation(plan, int(rng.integers(2**31)), spread)
    if gross:
        for position in plan.positions:
            if rng.random() < GROSS_SHARE:
                size, angle = rng.uniform(*GROSS_MM), rng.uniform(0.0, 2.0 * np.pi)
                built = shift_pattern(
                    built, position.mark, size * np.cos(angle), size * np.sin(angle)
                )
    return built


def simulate_job(seed: int, cuts: int = CUTS) -> SimulatedJob:
    """Build, measure and evaluate one job; the same seed gives the same job."""
    rng = np.random.default_rng(seed)
    document, plan = list_halls()[int(rng.integers(len(list_halls())))]
    careless, gross = bool(rng.random() < 0.5), bool(rng.random() < 0.5)
    built = build_concrete(plan, rng, careless=careless, gross=gross)
    crew = Crew(
        length_style=STYLES[int(rng.integers(len(STYLES)))],
        noise=float(rng.uniform(*NOISE_MM)),
        per_metre=float(rng.uniform(*NOISE_PER_M_MM)),
    )
    checks = [each for each in build_check_sheet(plan) if each.kind in READ_KINDS]
    taken = take_readings(built, crew, rng, checks)
    # One tape has one error within its class, the same for all its readings.
    tape_error = rng.uniform(-1.0, 1.0)
    for each in taken:
        each.mm += tape_error * float(tape_class_limit(each.mm))
    readings = write_entries(taken, crew, rng, STARTED_AT)
    evaluation = compute_evaluation(parse_building({**document, "readings": readings}))
    fit_up = evaluation.fit_up
    found = compute_fit_up_probability(evaluation, seed, cuts=cuts)
    if fit_up is None or found is None:
        raise RuntimeError(f"Job {seed} has no fit-up.")
    rods = np.zeros_like(fit_up.problem.rods)
    for i, position in enumerate(fit_up.positions):
        detail = plan.details[plan.positions[position].detail]
        planned = np.array([(rod.along, rod.inward) for rod in detail.rods])
        rods[i, : len(planned)] = built.rods[position] - planned
        rods[i, : len(planned), 0] += built.line[position]
    truth = solve_fit_up(fit_up.problem.with_rods(rods))
    return SimulatedJob(
        careless=careless,
        gross=gross,
        probability=found.probability,
        bound_as_read=bound_probability(evaluation, fit_up),
        misfit_as_read=fit_up.best.misfit,
        true_misfit=truth.misfit,
    )


def simulate_jobs(first: int, number: int, cuts: int = CUTS) -> Iterator[SimulatedJob]:
    """Simulate a number of jobs one after another."""
    for seed in range(first, first + number):
        yield simulate_job(seed, cuts)


def count_outcomes(
    jobs: Sequence[SimulatedJob], low: float, high: float
) -> tuple[int, float, float]:
    """Count the jobs with a probability in a range: how many, predicted, true."""
    chosen = [
        job
        for job in jobs
        if low <= job.probability and (job.probability < high or high == 1.0)
    ]
    if not chosen:
        return 0, float("nan"), float("nan")
    predicted = float(np.mean([job.probability for job in chosen]))
    true = float(np.mean([job.true_misfit <= 0.0 for job in chosen]))
    return len(chosen), predicted, true


def write_table(jobs: Sequence[SimulatedJob]) -> None:
    """Print predicted and true shares for each range of probability."""
    write = sys.stdout.write
    write(f"{'called':<14}{'jobs':>6}{'predicted':>11}{'true':>8}")
    write(f"{'careful':>12}{'careless':>12}{'no gross':>12}{'gross':>12}\n")
    for low, high in pairwise(EDGES):
        n, predicted, true = count_outcomes(jobs, low, high)
        write(f"{low:4.2f} to {high:4.2f}  {n:>6}{predicted:>11.2f}{true:>8.2f}")
        for part in (
            [job for job in jobs if not job.careless],
            [job for job in jobs if job.careless],
            [job for job in jobs if not job.gross],
            [job for job in jobs if job.gross],
        ):
            of, _, share = count_outcomes(part, low, high)
            write(f"{share:>7.2f} ({of})".rjust(12))
        write("\n")
    brier = np.mean([(j.probability - (j.true_misfit <= 0.0)) ** 2 for j in jobs])
    flat = np.mean([(j.misfit_as_read <= 0.0) == (j.true_misfit <= 0.0) for j in jobs])
    bounded = [(j, j.bound_as_read) for j in jobs if j.bound_as_read is not None]
    passed = sum(j.probability > bound for j, bound in bounded)
    low = sum(bound < 0.5 for _, bound in bounded)
    write(f"Bound as read: passed by {passed} of {len(bounded)}, below 0.5 in {low}\n")
    write(f"Brier score {brier:.3f}; the misfit as read is right in {flat:.1%}\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the reliability table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--buildings", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cuts", type=int, default=CUTS)
    options = parser.parse_args(arguments)
    first = options.seed * 1_000_000
    write_table(list(simulate_jobs(first, options.buildings, options.cuts)))


if __name__ == "__main__":
    main()
