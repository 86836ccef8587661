"""Rates of right and wrong verdicts on simulated pads: `python -m tests.bench.levels`.

Pads of one job are normal about a level with a standard deviation; each is read once
from one set-up. `maximum` counts heights from the highest reading, as a crew would;
`posterior` is what the program does (`checks.engine.levelling.datum`).
"""

import argparse
from dataclasses import dataclass

import numpy as np

from checks.engine.levelling.datum import estimate_datum

LIMIT_MM = 25.4 / 8
QUARTER_INCH_MM = 25.4 / 4
SEED = 20261130


@dataclass(frozen=True, kw_only=True)
class LevelRates:
    """Rates over many jobs, of `maximum` and of `posterior`."""

    false_low: tuple[float, float]  # share of jobs with a pad wrongly called low
    found: tuple[float, float]  # share of low pads called low; NaN without one
    wrong: tuple[float, float]  # wrong verdicts a job


def simulate_rates(
    pads: int, sigma: float, spread: float, *, low: float = 0.0, jobs: int
) -> LevelRates:
    """Simulate jobs of so many pads; one of them `low` below its place. [mm]"""
    rng = np.random.default_rng(SEED)
    totals = np.zeros((3, 2))
    for _ in range(jobs):
        height = rng.normal(0.0, spread, pads) if spread else np.zeros(pads)
        height[0] -= low
        read = height + rng.normal(0.0, sigma, pads)
        truth = height.max() - height > LIMIT_MM
        called = np.stack(
            [
                read.max() - read > LIMIT_MM,
                estimate_datum(read, sigma, LIMIT_MM).depth_mm > LIMIT_MM,
            ]
        )
        totals[0] += (called & ~truth).any(axis=1)
        totals[1] += called[:, 0]
        totals[2] += (called != truth).sum(axis=1)
    false_low, found, wrong = (totals / jobs).tolist()
    return LevelRates(
        false_low=tuple(false_low),
        found=tuple(found) if low else (float("nan"), float("nan")),
        wrong=tuple(wrong),
    )


def main() -> None:
    """Print the table of rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=500)
    jobs = parser.parse_args().jobs
    print(f"{jobs} jobs each; maximum / posterior")  # noqa: T201 -- it prints a table
    print("u    pads  pads' spread  one low   false low     found         wrong a job")  # noqa: T201
    for sigma, spread, low in (
        (1.0, 0.0, 0.0),
        (1.0, 0.0, QUARTER_INCH_MM),
        (1.0, 0.9, 0.0),
        (1.0, 1.5, 0.0),
        (1.0, 2.5, 0.0),
        (1.5, 0.0, 0.0),
        (1.5, 0.0, QUARTER_INCH_MM),
    ):
        for pads in (8, 20, 40):
            rates = simulate_rates(pads, sigma, spread, low=low, jobs=jobs)
            columns = "   ".join(
                f"{a:5.3f} / {b:5.3f}"
                for a, b in (rates.false_low, rates.found, rates.wrong)
            )
            print(f"{sigma:3.1f}  {pads:4d}  {spread:12.1f}  {low:7.2f}   {columns}")  # noqa: T201


if __name__ == "__main__":
    main()
