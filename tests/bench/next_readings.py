"""Wrong verdicts after further readings: chosen by the evaluation, and at random.

`python -m tests.bench.next_readings [--buildings 400]` simulates halls of twelve
positions that were read once with one tape, and reads on: what `next_readings` names
first, what is nearest to its limit, or anything. It prints how many conclusions within
and outside are wrong after so many readings: those of all readings together, by which
the chances are computed, and behind them the verdicts, each by the mean of the check's
own readings.

The concrete has the demo's spreads, times 0.8 to 1.6. Each tape has one error within
its class and each day one unknown temperature, both rectangular; handling is normal.
These are the assumptions of the evaluation, so the figures show what the choice is
worth, not whether the assumptions hold. Population and handling are project choices.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from checks.demo import plan_documents
from checks.demo.crew import EXPANSION_PER_C
from checks.demo.foundation import (
    BuiltFoundation,
    FoundationSpread,
    build_foundation,
    compute_true_value,
)
from checks.engine.conformity import SLACK_MM
from checks.engine.uncertainty import handling_uncertainty, tape_class_limit
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.evaluate import compute_evaluation
from checks.evaluation.next_readings import find_next_readings
from core.vocabulary import NextReadingKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

COUNTS = (0, 1, 3, 5, 10)
READ_KINDS = (
    CheckKind.DIAGONAL,
    CheckKind.WALL,
    CheckKind.LINE,
    CheckKind.SETBACK,
    CheckKind.OFFSET,
    CheckKind.PROJECTION,
)
TAPES = ("T1", "T2")
TAPE_CLASS = 2
STARTED_AT = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
MAX_TEMPERATURE_C = 10.0
TAPE_KINDS = (
    NextReadingKind.REPEAT,
    NextReadingKind.TEMPERATURE_NOTED,
    NextReadingKind.OTHER_TAPE,
)

Reading = tuple[Check, NextReadingKind]


@lru_cache
def load_hall() -> tuple[dict[str, Any], Plan]:
    """Build a hall of twelve positions, with two tapes."""
    document = plan_documents.build_hall("Hall", "100'", "50'", "4 @ 25'", "2 @ 25'")
    document = document | {
        "details": {
            name: {word: part for word, part in detail.items() if word != "plate"}
            for name, detail in document["details"].items()
        },
        "instruments": {name: {"kind": "steel tape", "class": "II"} for name in TAPES},
    }
    return document, parse_building(document).plan


@dataclass
class SimulatedJob:
    """A foundation, the errors of its tapes and its day, and what was read so far."""

    built: BuiltFoundation
    rng: np.random.Generator
    readings: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.tape_error = dict(
            zip(TAPES, self.rng.uniform(-1.0, 1.0, len(TAPES)), strict=True)
        )
        self.warmer_c = float(self.rng.uniform(-MAX_TEMPERATURE_C, MAX_TEMPERATURE_C))
        for check in build_check_sheet(self.built.plan):
            if check.kind in READ_KINDS:
                self.read(check, NextReadingKind.REPEAT)

    def read(self, check: Check, kind: NextReadingKind) -> None:
        """Read a check in one of the ways, and write the reading down."""
        true = compute_true_value(self.built, check)
        size = abs(true)
        tape = TAPES[kind is NextReadingKind.OTHER_TAPE]
        error = self.tape_error[tape] * float(tape_class_limit(size, TAPE_CLASS))
        error += self.rng.normal(0.0, float(handling_uncertainty(size)))
        entry = {"id": f"r{len(self.readings)}", "check": check.key, "by": "crew 1",
                 "instrument": tape}  # fmt: skip
        if kind is NextReadingKind.REPEAT:
            error -= size * EXPANSION_PER_C * self.warmer_c
        else:  # noted, and corrected by the evaluation
            entry["temperature"] = "20 degC"
        at = STARTED_AT + timedelta(seconds=30 * len(self.readings))
        entry["at"] = at.isoformat()
        # In whole millimetres, so that no reading lies exactly on a limit of 1/8 in.
        entry["value"] = f"{np.copysign(size + error, true):.0f} mm"
        self.readings.append(entry)

    def evaluate(self) -> BuildingEvaluation:
        """Evaluate everything that was read so far."""
        document, _ = load_hall()
        return compute_evaluation(
            parse_building({**document, "readings": self.readings})
        )

    def count_wrong(self, evaluation: BuildingEvaluation) -> tuple[int, int]:
        """Count conclusions that are wrong: by all readings together, and verdicts.

        Checks that are to be measured again have neither.
        """
        chances, checks = evaluation.chances, evaluation.table.checks
        rows, bounds = chances.options.rows, evaluation.bounds
        off = np.array(
            [
                compute_true_value(self.built, checks[row])
                - float(checks[row].nominal or 0.0)
                for row in rows
            ]
        )
        within = (off >= bounds.lower[rows]) & (off <= bounds.upper[rows])
        verdict = evaluation.verdicts[rows] == Verdict.WITHIN
        together = int(((chances.margin >= -SLACK_MM) != within).sum())
        return together, int((verdict != within).sum())


def choose_by_formula(
    evaluation: BuildingEvaluation, _: np.random.Generator
) -> Reading | None:
    """Choose what the evaluation names first; None where it names nothing."""
    for each in find_next_readings(evaluation):
        return each.check, each.kind
    return None


def choose_nearest(
    evaluation: BuildingEvaluation, _: np.random.Generator
) -> Reading | None:
    """Choose the check nearest to its limit in uncertainties, with the same tape."""
    chances = evaluation.chances
    if not chances.before.size:
        return None
    row = chances.options.rows[int(chances.before.argmax())]
    return evaluation.table.checks[row], NextReadingKind.REPEAT


def choose_at_random(
    evaluation: BuildingEvaluation, rng: np.random.Generator
) -> Reading | None:
    """Choose any check and any way to read it."""
    checks = [each for each in evaluation.table.checks if each.kind in READ_KINDS]
    check = checks[int(rng.integers(len(checks)))]
    return check, TAPE_KINDS[int(rng.integers(len(TAPE_KINDS)))]


CHOICES: dict[
    str,
    Callable[[BuildingEvaluation, np.random.Generator], Reading | None],
] = {
    "at random": choose_at_random,
    "nearest to its limit, same tape": choose_nearest,
    "as the evaluation advises": choose_by_formula,
}


def simulate(seed: int, choice: str) -> list[tuple[int, int]]:
    """Read on in one building; return the counts after each of `COUNTS` readings."""
    rng = np.random.default_rng(seed)
    spread = FoundationSpread().scale(float(rng.uniform(0.8, 1.6)))
    built = build_foundation(load_hall()[1], int(rng.integers(2**31)), spread)
    job = SimulatedJob(built, rng)
    counts = []
    for number in range(max(COUNTS) + 1):
        evaluation = job.evaluate()
        if number in COUNTS:
            counts.append(job.count_wrong(evaluation))
        reading = CHOICES[choice](evaluation, rng)
        if reading is not None:
            job.read(*reading)
    return counts


def measure(buildings: int, choice: str) -> np.ndarray:
    """Measure the mean counts, shape (len(COUNTS), 2)."""
    return np.mean([simulate(seed, choice) for seed in range(buildings)], axis=0)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--buildings", type=int, default=400)
    options = parser.parse_args(arguments)
    write = sys.stdout.write
    head = "".join(f"{count:>14}" for count in COUNTS)
    write(f"{'readings more: wrong (verdicts)':<34}{head}\n")
    after_five = {}
    for choice in CHOICES:
        found = measure(options.buildings, choice)
        after_five[choice] = found[COUNTS.index(5), 0]
        row = "".join(f"{wrong:>7.2f} ({own:.2f})" for wrong, own in found)
        write(f"{choice:<34}{row}\n")
        sys.stdout.flush()
    chosen, random = (
        after_five[name] for name in ("as the evaluation advises", "at random")
    )
    write(f"after five readings: {chosen / random:.2f} of those at random\n")


if __name__ == "__main__":
    main()
