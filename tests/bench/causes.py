"""How often a likely cause is right: simulated crews, honest and mistaken.

`python -m tests.bench.causes [--each 300] [--clean 1000]` prints, for every mistake,
in how many buildings the evaluation named it (right), named something else or accused
other checks (wrong), or kept silent (no idea); and in how many buildings measured by
honest crews it accused anybody.

The concrete is as bad for the mistaken crews as for the honest ones. How often what
goes wrong on a site is ours, from no published source.
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
from checks.evaluation.failing_checks import LikelyCause
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

INCH_MM = 25.4
BEGUN = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
HANDS: tuple[LengthStyle, ...] = (
    "sixteenths",
    "decimal_feet",
    "millimetres",
    "metres",
)
TRIES = 20


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of one building, and which checks were spoilt on purpose."""

    causes: tuple[LikelyCause, ...]
    spoilt: tuple[str, ...]

    def outcome(self, cause: str) -> str:
        """Right, wrong or no idea, where this cause is the true one."""
        if not self.causes:
            return "no idea"
        spoilt = set(self.spoilt)
        true = [c.cause == cause and spoilt.intersection(c.checks) for c in self.causes]
        return "right" if all(true) else "wrong"


@lru_cache
def plans() -> tuple[tuple[dict[str, Any], Plan], ...]:
    """The buildings simulated: halls, one with a wing, one in metres."""
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
    # Without base plates: which plate goes on is not asked here, and takes longest.
    bare = [each | {"details": _bare(each["details"])} for each in documents]
    return tuple((each, parse_building(each).plan) for each in bare)


def _bare(details: dict[str, Any]) -> dict[str, Any]:
    return {
        name: {word: part for word, part in detail.items() if word != "plate"}
        for name, detail in details.items()
    }


def honest_concrete(plan: Plan, rng: np.random.Generator) -> BuiltFoundation:
    """Build a foundation as they are found, now and then with a gross fault."""
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


def a_crew(metric: bool, rng: np.random.Generator) -> Crew:
    """Somebody who reads with care, in one of the ways people write."""
    hands = HANDS[2:] if metric else HANDS[:2]
    return Crew(
        length_style=hands[int(rng.integers(2))],
        tape=("T1", "T2")[int(rng.integers(2))],
        level=("L1", "L2")[int(rng.integers(2))],
        temperature_c=float(rng.uniform(-2.0, 34.0)) if rng.random() < 0.8 else None,
        setups=1 + int(rng.integers(2)),
    )


def simulate(seed: int, mistake: CrewMistake | None) -> Told:
    """Build, measure and judge one building, with one mistake or none."""
    for turn in range(TRIES):
        rng = np.random.default_rng((seed, turn))
        document, plan = plans()[int(rng.integers(len(plans())))]
        built = honest_concrete(plan, rng)
        crew = a_crew(plan.length_unit == "mm", rng)
        gages = rng.random() < 0.3
        checks = list_stage_checks(plan, "foundation", "verification", optional=gages)
        taken = take_readings(built, crew, rng, checks)
        spoilt = [] if mistake is None else mistake.apply(built, taken, rng)
        if mistake is None or spoilt:
            readings = write_entries(taken, crew, rng, BEGUN)
            building = parse_building({**document, "readings": readings})
            return Told(compute_evaluation(building).causes, tuple(spoilt))
    msg = f"No building has a place for the mistake {mistake and mistake.name!r}."
    raise RuntimeError(msg)


def told(
    number: int, mistake: CrewMistake | None, first_seed: int = 0
) -> Iterator[Told]:
    """Simulate a number of buildings one after another."""
    for seed in range(first_seed, first_seed + number):
        yield simulate(seed, mistake)


def rates(mistake: CrewMistake, number: int, first_seed: int = 0) -> dict[str, float]:
    """Share of buildings in which the cause named was right, wrong, or not named."""
    counted = Counter(
        each.outcome(mistake.cause) for each in told(number, mistake, first_seed)
    )
    return {word: counted[word] / number for word in ("right", "wrong", "no idea")}


def accused(number: int, first_seed: int = 0) -> Counter[str]:
    """Causes named in buildings measured by honest crews, each building once."""
    return Counter(
        each.causes[0].cause for each in told(number, None, first_seed) if each.causes
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
        found = rates(mistake, options.each)
        write(
            f"{mistake.name:<32}{found['right']:>8.1%}{found['wrong']:>8.1%}"
            f"{found['no idea']:>9.1%}\n"
        )
        sys.stdout.flush()
    if options.clean:
        against = accused(options.clean, 10_000_000)
        share = sum(against.values()) / options.clean
        write(f"{'honest crews accused':<32}{share:>8.2%}  {dict(against)}\n")


if __name__ == "__main__":
    main()
