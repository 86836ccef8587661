"""Rates of likely causes: simulated crews, with and without mistakes.

`python -m tests.bench.causes [--each 300] [--clean 1000]` prints, for every mistake,
the share of buildings in which the evaluation named it (right), named another cause or
other checks (wrong), or named none (no idea); and the share of buildings measured
without mistakes in which it named a cause all the same.

The concrete is as bad for crews with mistakes as for those without. How often each
thing goes wrong on a site is a project choice, from no published source.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import numpy as np

from checks.demo import plan_documents
from checks.demo.crew import (
    Crew,
    LengthStyle,
    list_stage_checks,
    take_readings,
    write_entries,
)
from checks.demo.foundation import (
    BuiltFoundation,
    FoundationSpread,
    build_foundation,
    shift_corner,
    shift_pad,
    shift_pattern,
    shift_rod,
    shorten_rod,
)
from checks.demo.mistakes import MISTAKES, CrewMistake
from checks.evaluation.evaluate import compute_evaluation
from checks.evaluation.likely_cause import CauseKind, LikelyCause
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

INCH_MM = 25.4
STARTED_AT = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
LENGTH_STYLES: tuple[LengthStyle, ...] = (
    "sixteenths",
    "decimal_feet",
    "millimetres",
    "metres",
)
MAX_TRIES = 20


@dataclass(frozen=True, slots=True)
class SimulationOutcome:
    """Causes named for one building, and the checks changed on purpose."""

    causes: tuple[LikelyCause, ...]
    affected: tuple[str, ...]

    def classify(self, cause: str) -> str:
        """Compare the causes named with the true one: right, wrong or no idea."""
        if not self.causes:
            return "no idea"
        affected = set(self.affected)
        true = [
            c.cause == cause and affected.intersection(c.checks) for c in self.causes
        ]
        return "right" if all(true) else "wrong"


@lru_cache
def list_plans() -> tuple[tuple[dict[str, Any], Plan], ...]:
    """List the buildings simulated: halls, one with a wing, one in metres."""
    documents = (
        plan_documents.build_hall(
            "Hall", "100'", "60'", "4 @ 25'", "3 @ 20'", web_ends=True
        ),
        plan_documents.build_hall("Sheds", "80'", "40'", "4 @ 20'", "2 @ 20'"),
        plan_documents.build_hall(
            "Works", "30 m", "18 m", "5 @ 6 m", "3 @ 6 m", metric=True, web_ends=True
        ),
        plan_documents.load_plan_document("l_shaped_hall", "Wing"),
    )
    # Without base plates: their fit is not needed here, and takes longest.
    bare = [each | {"details": _bare(each["details"])} for each in documents]
    return tuple((each, parse_building(each).plan) for each in bare)


def _bare(details: dict[str, Any]) -> dict[str, Any]:
    return {
        name: {word: part for word, part in detail.items() if word != "plate"}
        for name, detail in details.items()
    }


def build_honest_concrete(plan: Plan, rng: np.random.Generator) -> BuiltFoundation:
    """Build a foundation with usual errors, now and then with a gross one."""
    spreads = FoundationSpread().scale(float(rng.uniform(0.5, 1.3)))
    built = build_foundation(plan, int(rng.integers(2**31)), spreads)
    mark = plan.positions[int(rng.integers(len(plan.positions)))].mark
    if rng.random() < 0.35:
        step, angle = rng.uniform(0.375, 1.5) * INCH_MM, rng.uniform(0.0, 2.0 * np.pi)
        if rng.random() < 0.6:  # a form set back, or a line snapped wrong
            angle = float(rng.integers(4)) * np.pi / 2.0
        built = shift_pattern(built, mark, step * np.cos(angle), step * np.sin(angle))
    if rng.random() < 0.15:
        step = rng.uniform(0.25, 1.0) * INCH_MM
        angle = rng.uniform(0.0, 2.0 * np.pi)
        built = shift_rod(built, mark, 1, step * np.cos(angle), step * np.sin(angle))
    if rng.random() < 0.15:
        first = int(rng.integers(len(plan.positions)))
        for place in range(first, min(first + 3, len(plan.positions))):
            low = -float(rng.uniform(5.0, 16.0))
            built = shift_pad(built, plan.positions[place].mark, low)
    if rng.random() < 0.15:
        name = plan.outline[int(rng.integers(len(plan.outline)))].name
        built = shift_corner(built, name, 0.5 * INCH_MM * rng.choice((-1, 1)), 0.0)
    if rng.random() < 0.1:
        built = shorten_rod(built, mark, 1, float(rng.uniform(10.0, 30.0)))
    return built


def draw_crew(metric: bool, rng: np.random.Generator) -> Crew:
    """Draw a careful crew that writes in one of the usual styles."""
    styles = LENGTH_STYLES[2:] if metric else LENGTH_STYLES[:2]
    return Crew(
        length_style=styles[int(rng.integers(2))],
        tape=("T1", "T2")[int(rng.integers(2))],
        level=("L1", "L2")[int(rng.integers(2))],
        temperature_c=float(rng.uniform(-2.0, 34.0)) if rng.random() < 0.8 else None,
        setups=1 + int(rng.integers(2)),
    )


def asks_about_line(cause: LikelyCause, affected: Sequence[str]) -> bool:
    """Return True for the question about a lone line that really stands an inch off.

    It leaves both answers open, and nothing but another reading settles it: about 3 %
    of honest buildings have such a line.
    """
    return (
        cause.cause == CauseKind.MISREAD
        and len(cause.checks) == 1
        and CheckKey(cause.checks[0]).kind is CheckKind.LINE
        and cause.checks[0] not in affected
        and "stands an inch off" in cause.explanation
    )


def simulate(seed: int, mistake: CrewMistake | None) -> SimulationOutcome:
    """Build, measure and evaluate one building, with one mistake or none."""
    for attempt in range(MAX_TRIES):
        rng = np.random.default_rng((seed, attempt))
        document, plan = list_plans()[int(rng.integers(len(list_plans())))]
        built = build_honest_concrete(plan, rng)
        crew = draw_crew(plan.length_unit == "mm", rng)
        gages = rng.random() < 0.3
        checks = list_stage_checks(plan, "foundation", "verification", optional=gages)
        taken = take_readings(built, crew, rng, checks)
        affected = [] if mistake is None else mistake.apply(built, taken, rng)
        if mistake is None or affected:
            readings = write_entries(taken, crew, rng, STARTED_AT)
            building = parse_building({**document, "readings": readings})
            causes = compute_evaluation(building).causes
            named = tuple(c for c in causes if not asks_about_line(c, affected))
            return SimulationOutcome(named, tuple(affected))
    msg = f"No building has a place for the mistake {mistake and mistake.name!r}."
    raise RuntimeError(msg)


def simulate_many(
    number: int, mistake: CrewMistake | None, first_seed: int = 0
) -> Iterator[SimulationOutcome]:
    """Simulate a number of buildings one after another."""
    for seed in range(first_seed, first_seed + number):
        yield simulate(seed, mistake)


def measure_rates(
    mistake: CrewMistake, number: int, first_seed: int = 0
) -> dict[str, float]:
    """Measure the share of buildings with the right, a wrong or no cause."""
    counted = Counter(
        each.classify(mistake.cause)
        for each in simulate_many(number, mistake, first_seed)
    )
    return {word: counted[word] / number for word in ("right", "wrong", "no idea")}


def count_accusations(number: int, first_seed: int = 0) -> Counter[str]:
    """Count causes named in buildings without mistakes, each building once."""
    return Counter(
        each.causes[0].cause
        for each in simulate_many(number, None, first_seed)
        if each.causes
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=300, help="buildings per mistake")
    parser.add_argument("--clean", type=int, default=1000, help="honest buildings")
    options = parser.parse_args(arguments)
    write = sys.stdout.write
    write(f"{'mistake':<32}{'right':>8}{'wrong':>8}{'no idea':>9}\n")
    for mistake in MISTAKES:
        found = measure_rates(mistake, options.each)
        write(
            f"{mistake.name:<32}{found['right']:>8.1%}{found['wrong']:>8.1%}"
            f"{found['no idea']:>9.1%}\n"
        )
        sys.stdout.flush()
    if options.clean:
        accusations = count_accusations(options.clean, 10_000_000)
        share = sum(accusations.values()) / options.clean
        write(f"{'honest crews accused':<32}{share:>8.2%}  {dict(accusations)}\n")


if __name__ == "__main__":
    main()
