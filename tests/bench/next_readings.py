"""Wrong verdicts after further readings: chosen by the evaluation, and at random.

`python -m tests.bench.next_readings [--buildings 400] [--plates]` simulates halls of
twelve positions that were read once with one tape, and reads on: what `next_readings`
names first, what is nearest to its limit, or anything. It prints how many conclusions
within and outside are wrong after so many readings: those of all readings together, by
which the chances are computed, and behind them the verdicts, each by the mean of the
check's own readings.

The concrete has the demo's spreads, times 0.8 to 1.6. Each tape has one error within
its class and each day one unknown temperature, both rectangular; handling is normal.
These are the assumptions of the evaluation, so the figures show what the choice is
worth, not whether the assumptions hold. Population and handling are project choices.

With `--plates` the halls have base plates, and only those count whose misfit as read is
within `OPEN_MISFIT_MM` of nothing: then the conclusion on fit-up is open. Printed are
the wrong conclusions, and in brackets the share of halls whose fit-up as read is wrong.
True is what perfect readings of everything say, bays and spans included.
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
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

COUNTS = (0, 1, 3, 5, 10)
OPEN_MISFIT_MM = 1.0
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
def load_hall(*, plates: bool = False) -> tuple[dict[str, Any], Plan]:
    """Build a hall of twelve positions, with two tapes."""
    document = plan_documents.build_hall("Hall", "100'", "50'", "4 @ 25'", "2 @ 25'")
    document = document | {
        "details": {
            name: {
                word: part for word, part in detail.items() if plates or word != "plate"
            }
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
    plates: bool = False
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
        document, _ = load_hall(plates=self.plates)
        return compute_evaluation(
            parse_building({**document, "readings": self.readings})
        )

    def goes_together(self) -> bool:
        """Conclude on fit-up from perfect readings of everything."""
        document, plan = load_hall(plates=self.plates)
        perfect = [
            {
                "id": check.key,
                "check": check.key,
                "value": f"{compute_true_value(self.built, check):.6f} mm",
                "by": "truth",
            }
            for check in build_check_sheet(plan)
            if check.kind in (*READ_KINDS, *PAIR_KINDS)
        ]
        found = compute_evaluation(parse_building({**document, "readings": perfect}))
        return found.fit_up is not None and found.fit_up.goes_together

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


def choose_without_direct(
    evaluation: BuildingEvaluation, _: np.random.Generator
) -> Reading | None:
    """Choose what the evaluation names first that is no bay or span."""
    for each in find_next_readings(evaluation):
        if each.kind is not NextReadingKind.DIRECT:
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
PLATE_CHOICES = {
    "at random": choose_at_random,
    "as advised, no bay or span": choose_without_direct,
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


def simulate_fit_up(
    seed: int, choice: str
) -> tuple[list[tuple[int, bool]], int] | None:
    """Read on in one hall with plates; None where its fit-up is settled as read.

    Returns
    -------
    Wrong conclusions, and whether fit-up is wrong, after each of `COUNTS` readings;
    then the number of bays and spans among the readings taken.
    """
    rng = np.random.default_rng(seed)
    plan = load_hall(plates=True)[1]
    spread = FoundationSpread().scale(float(rng.uniform(0.8, 1.6)))
    built = build_foundation(plan, int(rng.integers(2**31)), spread)
    job = SimulatedJob(built, rng, plates=True)
    evaluation, true, direct = job.evaluate(), job.goes_together(), 0
    fit_up = evaluation.fit_up
    if fit_up is None or abs(fit_up.best.misfit) > OPEN_MISFIT_MM:
        return None
    if fit_up.own_misfit.any():
        return None
    counts: list[tuple[int, bool]] = []
    for number in range(max(COUNTS) + 1):
        if number in COUNTS:
            found = evaluation.fit_up
            wrong = found is None or found.goes_together != true
            counts.append((job.count_wrong(evaluation)[0], wrong))
        reading = PLATE_CHOICES[choice](evaluation, rng)
        if reading is not None:
            job.read(*reading)
            direct += reading[1] is NextReadingKind.DIRECT
            evaluation = job.evaluate()
    return counts, direct


def write_fit_up_table(buildings: int) -> None:
    """Print the table of halls with plates whose fit-up is open."""
    write = sys.stdout.write
    head = "".join(f"{count:>14}" for count in COUNTS)
    write(f"{'readings more: wrong (fit-up)':<34}{head}\n")
    for choice in PLATE_CHOICES:
        results = [simulate_fit_up(seed, choice) for seed in range(buildings)]
        kept = [each for each in results if each is not None]
        found = np.mean([counts for counts, _ in kept], axis=0)
        row = "".join(f"{wrong:>7.2f} ({fit:.2f})" for wrong, fit in found)
        direct = np.mean([number for _, number in kept])
        write(f"{choice:<34}{row}  {len(kept)} halls, {direct:.1f} bays and spans\n")
        sys.stdout.flush()


def measure(buildings: int, choice: str) -> np.ndarray:
    """Measure the mean counts, shape (len(COUNTS), 2)."""
    return np.mean([simulate(seed, choice) for seed in range(buildings)], axis=0)


def count_close_lines(
    buildings: int, *, temperature_noted: bool
) -> tuple[float, float]:
    """Return the share of column lines said to be close to the limit, and wrong.

    Of good jobs: the demo's spreads, each check read once, with the temperature noted
    or without.
    """
    kind = (
        NextReadingKind.TEMPERATURE_NOTED
        if temperature_noted
        else NextReadingKind.REPEAT
    )
    close, wrong, lines = 0, 0, 0
    for seed in range(buildings):
        built = build_foundation(load_hall()[1], seed, FoundationSpread())
        job = SimulatedJob(built, np.random.default_rng(seed))
        job.readings.clear()
        for check in build_check_sheet(built.plan):
            if check.kind in READ_KINDS:
                job.read(check, kind)
        evaluation = job.evaluate()
        for row in evaluation.table.rows(CheckKind.LINE).tolist():
            check = evaluation.table.checks[row]
            off = compute_true_value(built, check) - evaluation.nominal[row]
            within = abs(off) <= evaluation.bounds.size[row] + SLACK_MM
            wrong += within != (evaluation.verdicts[row] == Verdict.WITHIN)
            close += row in evaluation.second_readings
            lines += 1
    return close / lines, wrong / lines


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--buildings", type=int, default=400)
    parser.add_argument("--plates", action="store_true")
    options = parser.parse_args(arguments)
    if options.plates:
        write_fit_up_table(options.buildings)
        return
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
    for noted, label in ((False, "not noted"), (True, "noted")):
        close, wrong = count_close_lines(options.buildings, temperature_noted=noted)
        write(f"temperature {label}: {close:.0%} of lines close to their limit,")
        write(f" {wrong:.0%} of verdicts on lines wrong\n")
    write(f"after five readings: {chosen / random:.2f} of those at random\n")


if __name__ == "__main__":
    main()
