"""A building of 60 positions and 240 rods, evaluated whole, beside a reference.

The answers and the memory are asserted; nothing about time is. The ratio is printed by
`pytest tests/bench/test_building.py --benchmark-only -s` and `python -m tests.bench`.
"""

import json
import time
import tracemalloc
from typing import Any

import numpy as np
import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests.bench.building import build_document
from tests.bench.reference import Reference, read_building

OBSERVED_MM, OUTLINE_MM, HEIGHT_MM = 1e-8, 1e-6, 1e-8
ROD_MM, INTERFERENCE_MM = 1e-5, 1e-5  # what least_squares and Clarabel reach
SLOT_MM = 1e-5
MISFIT_MM = 1e-6


@pytest.fixture(scope="module")
def building() -> Any:
    return parse_building(build_document())


def test_the_reference_reads_a_document_as_the_parser_does(building: Any) -> None:
    read = read_building(json.dumps(build_document()).encode())
    assert read.plan == building.plan
    for own, parsed in zip(read.readings, building.readings, strict=True):
        assert (own.id, own.check, own.setup) == (parsed.id, parsed.check, parsed.setup)
        assert own.value == pytest.approx(parsed.value, abs=1e-9)


def test_a_whole_building_has_the_answers_of_the_reference(building: Any) -> None:
    result = evaluate(building)
    expected = Reference(building, result).run()
    assert len(result["positions"]) == 60
    assert sum(len(p["rods"]) for p in result["positions"]) == 240
    found = {c["check"]: c["observed"] for c in result["checks"]}
    for key, value in expected["observed"].items():
        assert found[key] == pytest.approx(value, abs=OBSERVED_MM)
    residuals = {x["check"]: x["residual"] for x in result["squareness"]["lengths"]}
    keys = [k for k in expected["observed"] if k.startswith(("wall", "diagonal"))]
    np.testing.assert_allclose(
        [residuals[k] for k in keys], expected["corners"], atol=OUTLINE_MM
    )
    pads = result["levels"]["pads"]
    highest = max(pad["as_read"] for pad in pads)
    for pad in pads:
        assert pad["as_read"] - highest == pytest.approx(
            expected["heights"][pad["mark"]], abs=HEIGHT_MM
        )
    rods = [[[r["along"], r["in"]] for r in p["rods"]] for p in result["positions"]]
    np.testing.assert_allclose(rods, expected["rods"], atol=ROD_MM)
    interference = [p["plate_fit"]["overrun"] for p in result["positions"]]
    np.testing.assert_allclose(
        interference, expected["interference"], atol=INTERFERENCE_MM
    )
    assert result["fit_up"]["misfit"] == pytest.approx(
        expected["misfit"], abs=MISFIT_MM
    )
    slots = {
        finding["finding"].split(":")[1]: remedy["slots"]
        for finding in result["findings"]
        for remedy in finding["remedies"]
        if remedy["remedy"] == "slot"
    }
    assert len(slots) == 4
    assert slots.keys() == expected["slots"].keys()
    for mark, (count, longest) in expected["slots"].items():
        assert len(slots[mark]) == count
        assert max(s["extension"] for s in slots[mark]) == pytest.approx(
            longest, abs=SLOT_MM
        )


def peak_bytes(positions: int) -> tuple[int, int]:
    """Readings of a building, and the most memory that evaluating it took."""
    building = parse_building(build_document(positions))
    evaluate(building)
    tracemalloc.start()
    evaluate(building)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return len(building.readings), peak


def test_peak_memory_grows_no_faster_than_the_readings() -> None:
    (few, small), (many, large) = peak_bytes(60), peak_bytes(240)
    assert many > 3.9 * few
    assert large / many <= 1.25 * small / few


@pytest.mark.benchmark(group="building")
def test_a_whole_building_beside_the_reference(
    benchmark: Any, building: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    result = benchmark(evaluate, building)
    here_s = benchmark.stats["min"]
    for reuse in (False, True):
        started = time.process_time()
        Reference(building, result, reuse=reuse).run()
        reference_s = time.process_time() - started
        with capsys.disabled():
            print(  # noqa: T201  (a benchmark reports its figures)
                f"\nreference{', one cone problem' if reuse else ''}"
                f" {reference_s:.2f} s,"
                f" here {here_s:.3f} s: {reference_s / here_s:.0f} times"
            )
