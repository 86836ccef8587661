"""Results of two checkouts of the program, compared over many varied documents.

`python -m tests.bench.compare_versions OTHER_CHECKOUT [--documents 360] [--slack 1e-9]`
evaluates the same documents with the program in the working directory and with the one
in another checkout, and prints where verdicts, findings or numbers differ. It ends
with 1 if anything does.

A third of the documents are halls with plates that a simulated crew measured, most with
one mistake; a third are drawn at random, from empty to absurd; a third are long
buildings of the bench, some with rods far out. The seeds are fixed: the same number of
documents are the same documents.
"""

import argparse
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings

from checks.demo.crew import list_stage_checks, take_readings, write_entries
from checks.demo.mistakes import MISTAKES
from checks.demo.plan_documents import build_hall, load_plan_document
from jobs.exchange.input.parser import parse_building
from tests.bench.building import build_document
from tests.bench.causes import build_honest_concrete, draw_crew
from tests.published.test_evaluate_any import measured

Document = dict[str, Any]
Difference = tuple[str, Any, Any]
STARTED_AT = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
LENGTHS = (6, 12, 20, 60)  # positions of the bench's buildings
MAX_LISTED = 12

# Runs in either checkout, so it uses nothing but the two entry points.
EVALUATE_FILE = """
import json, sys
from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building_text
from jobs.exchange.issues import DocumentError

with open(sys.argv[1]) as documents, open(sys.argv[2], "w") as results:
    for line in documents:
        try:
            result = evaluate(parse_building_text(line))
        except DocumentError as error:
            result = {"refused": [each.pointer for each in error.issues]}
        results.write(json.dumps(result) + "\\n")
"""


@dataclass(frozen=True, slots=True)
class ResultDifferences:
    """Differences between two results of one document."""

    verdicts: tuple[Difference, ...]
    findings: tuple[Difference, ...]
    numbers: tuple[Difference, ...]
    others: tuple[Difference, ...]

    def __bool__(self) -> bool:
        return bool(self.verdicts or self.findings or self.numbers or self.others)


def simulate_documents() -> Iterator[Document]:
    """Simulate halls with plates that a crew has measured, without end."""
    halls = (
        build_hall("Hall", "100'", "60'", "4 @ 25'", "3 @ 20'", web_ends=True),
        build_hall("Sheds", "80'", "40'", "4 @ 20'", "2 @ 20'"),
        build_hall("Works", "30 m", "18 m", "5 @ 6 m", "3 @ 6 m", metric=True),
        load_plan_document("l_shaped_hall", "Wing"),
    )
    plans = [parse_building(each).plan for each in halls]
    seed = 0
    while True:
        seed += 1
        rng = np.random.default_rng(seed)
        document, plan = halls[seed % len(halls)], plans[seed % len(halls)]
        built = build_honest_concrete(plan, rng)
        crew = draw_crew(plan.length_unit == "mm", rng)
        checks = list_stage_checks(
            plan, "foundation", "verification", optional=rng.random() < 0.3
        )
        taken = take_readings(built, crew, rng, checks)
        mistake = (None, *MISTAKES)[seed % (1 + len(MISTAKES))]
        if mistake is not None:
            mistake.apply(built, taken, rng)
        readings = write_entries(taken, crew, rng, STARTED_AT)
        # Buildings measured in part: some readings are missing.
        share = rng.choice((1.0, 1.0, 0.9, 0.5))
        kept = [each for each in readings if rng.random() < share]
        yield {**document, "readings": kept}


def draw_documents(number: int) -> list[Document]:
    """Draw documents of plans and readings, sensible or not."""
    drawn: list[Document] = []

    @settings(
        max_examples=number,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(measured())
    def collect(document: Document) -> None:
        drawn.append(document)

    collect()
    return drawn


def list_documents(number: int) -> list[Document]:
    """List the documents to compare, about a third of each kind."""
    third = -(-number // 3)
    drawn = draw_documents(third)
    simulated = list(islice(simulate_documents(), 2 * third - len(drawn)))
    long = [
        build_document(LENGTHS[i % len(LENGTHS)], seed=i, far=i % 3 == 0)
        for i in range(number - len(drawn) - len(simulated))
    ]
    return [*drawn, *simulated, *long]


def evaluate_under(
    checkout: Path, documents: Sequence[Document]
) -> list[dict[str, Any]]:
    """Evaluate documents with the program of a checkout, in a process of its own."""
    with TemporaryDirectory() as folder:
        given_file, result_file = Path(folder, "documents"), Path(folder, "results")
        given_file.write_text("\n".join(json.dumps(each) for each in documents))
        subprocess.run(
            [sys.executable, "-c", EVALUATE_FILE, given_file, result_file],
            cwd=checkout,
            check=True,
        )
        return [json.loads(line) for line in result_file.read_text().splitlines()]


def list_differences(
    old: Any, new: Any, slack: float, at: str = ""
) -> list[Difference]:
    """List the places where two JSON values differ, numbers by more than the slack.

    Parameters
    ----------
    old, new : JSON values.
    slack : absolute and relative difference of two numbers that counts as none. [1]
    at : pointer to the values.
    """
    if isinstance(old, dict) and isinstance(new, dict):
        return [
            each
            for key in sorted(old.keys() | new.keys())
            for each in list_differences(
                old.get(key, "absent"), new.get(key, "absent"), slack, f"{at}/{key}"
            )
        ]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return [
            each
            for i, pair in enumerate(zip(old, new, strict=True))
            for each in list_differences(*pair, slack, f"{at}/{i}")
        ]
    if _is_number(old) and _is_number(new):
        same = abs(new - old) <= slack * max(1.0, abs(old))
    else:
        same = old == new
    return [] if same else [(at, old, new)]


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def sort_differences(differences: Sequence[Difference]) -> ResultDifferences:
    """Sort differences of two results into verdicts, findings, numbers and others."""
    sorted_out: dict[str, list[Difference]] = {
        name: [] for name in ResultDifferences.__slots__
    }
    for each in differences:
        pointer, old, new = each
        if pointer.endswith("verdict"):
            sorted_out["verdicts"].append(each)
        elif _is_number(old) and _is_number(new):
            sorted_out["numbers"].append(each)
        elif pointer.startswith("/findings"):
            sorted_out["findings"].append(each)
        else:
            sorted_out["others"].append(each)
    return ResultDifferences(**{name: tuple(of) for name, of in sorted_out.items()})


def write_report(found: Sequence[ResultDifferences]) -> None:
    """Print how many documents differ, and the first differences of each kind."""
    write = sys.stdout.write
    write(f"{len(found)} documents, {sum(map(bool, found))} with differences\n")
    for kind in ResultDifferences.__slots__:
        listed = [(i, at) for i, each in enumerate(found) for at in getattr(each, kind)]
        write(f"{kind}: {len(listed)}\n")
        for i, (pointer, old, new) in listed[:MAX_LISTED]:
            write(f"  document {i} {pointer}: {_shorten(old)} -> {_shorten(new)}\n")
        members = Counter(
            "/".join("*" if step.isdigit() else step for step in pointer.split("/"))
            for _, (pointer, _, _) in listed
        )
        for name, count in members.most_common() if len(listed) > MAX_LISTED else ():
            write(f"  {count:>7} {name}\n")
    numbers = [at for each in found for at in each.numbers]
    if numbers:
        largest = max(numbers, key=lambda at: abs(at[2] - at[1]))
        write(f"largest difference of a number: {largest}\n")


def _shorten(value: Any) -> str:
    text = json.dumps(value)
    return text if len(text) <= 60 else text[:57] + "..."


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare two checkouts and print what differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path, help="checkout of the older program")
    parser.add_argument("--documents", type=int, default=360)
    parser.add_argument("--slack", type=float, default=1e-9)
    options = parser.parse_args(arguments)
    documents = list_documents(options.documents)
    old = evaluate_under(options.other, documents)
    new = evaluate_under(Path.cwd(), documents)
    found = [
        sort_differences(list_differences(*pair, options.slack))
        for pair in zip(old, new, strict=True)
    ]
    write_report(found)
    return int(any(found))


if __name__ == "__main__":
    sys.exit(main())
