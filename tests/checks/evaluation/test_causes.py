"""How often a likely cause is right, on simulated crews; see `tests.bench.causes`.

The floors lie below what 300 buildings per mistake gave by what chance may take from
the few simulated here: three standard deviations of a share and more.
"""

import pytest

from checks.demo.mistakes import MISTAKES, Mistake
from checks.evaluation.evaluate import evaluate
from jobs.exchange.parse import read_building
from tests.bench.causes import accused, rates
from tests.documents import off_by, plan, read_perfectly, reading_of

EACH = 40
HONEST = 300
FLOORS = {
    "foot misread": 0.90,
    "inch misread": 0.55,
    "tape at its 1 ft mark": 0.85,
    "from the outer edge": 0.92,
    "to the flange": 0.87,
    "setbacks to the rod's edge": 0.86,
    "offsets to the rod's edge": 0.69,
    "two lines exchanged": 0.82,
    "two setbacks exchanged": 0.90,
    "setback and offset exchanged": 0.85,
    "detail turned around": 0.85,
    "rod upside down": 0.95,
    "set-up knocked": 0.90,
}
ACCUSED_AT_MOST = 0.01


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda each: each.name)
def test_a_mistake_is_named_as_often_as_measured(mistake: Mistake):
    assert rates(mistake, EACH)["right"] >= FLOORS[mistake.name]


def test_honest_crews_are_hardly_ever_accused():
    against = accused(HONEST, first_seed=20_000_000)
    assert sum(against.values()) <= ACCUSED_AT_MOST * HONEST, against


def _causes(document: dict) -> set[str]:
    result = evaluate(read_building(document))
    found = [finding["likely_cause"] for finding in result["findings"]]
    return {cause["cause"] for cause in found if cause}


@pytest.mark.parametrize("mm", [9.525, 11.1125, 25.4, 34.925, 38.1])
def test_one_pattern_set_wrong_in_the_forms_accuses_nobody(mm: float):
    document = read_perfectly(plan())
    for rod in (1, 2, 3, 4):
        off_by(document, f"setback:A2.{rod}", mm)
    assert evaluate(read_building(document))["findings"]
    assert _causes(document) == set()


@pytest.mark.parametrize("mm", [-25.4, 25.4, 38.1])
def test_one_line_off_by_an_inch_accuses_nobody(mm: float):
    document = read_perfectly(plan())
    off_by(document, "line:A2", mm)
    assert _causes(document) == set()


def test_a_rod_short_by_an_inch_accuses_nobody():
    document = read_perfectly(plan())
    off_by(document, "projection:A2.1", -25.4)
    assert evaluate(read_building(document))["findings"]
    assert _causes(document) == set()


def test_one_setback_an_inch_off_in_a_good_pattern_is_a_misreading():
    document = read_perfectly(plan())
    off_by(document, "setback:A2.1", 25.4)
    assert _causes(document) == {"misread"}


def test_a_rod_an_inch_off_both_ways_is_where_it_is():
    document = read_perfectly(plan())
    off_by(document, "setback:A2.1", 25.4)
    off_by(document, "offset:A2.1", 12.0)
    assert _causes(document) == set()


def test_lines_read_from_the_far_corner_are_held_against_the_way_the_tape_ran():
    document = read_perfectly(plan())
    for mark, feet in (("A1", 24.0), ("A2", 48.0), ("A3", 72.0)):
        reading = reading_of(document, f"line:{mark}")
        reading |= {"from": "SE", "value": f"{96.0 - feet + 1.0} ft"}
    assert _causes(document) == {"foot_mark"}


def test_a_setback_exchanged_with_an_offset_to_the_other_side_is_found():
    document = read_perfectly(plan())
    reading_of(document, "setback:A2.1")["value"] = '2 1/4"'
    reading_of(document, "offset:A2.1")["value"] = '-6"'
    assert _causes(document) == {"exchanged"}


def test_a_hint_changes_no_number():
    honest, spoilt = read_perfectly(plan()), read_perfectly(plan())
    off_by(spoilt, "setback:A2.1", 25.4)
    before = {c["check"]: c for c in evaluate(read_building(honest))["checks"]}
    after = {c["check"]: c for c in evaluate(read_building(spoilt))["checks"]}
    one = after["setback:A2.1"]
    assert one["observed"] - before["setback:A2.1"]["observed"] == pytest.approx(25.4)
    assert one["verdict"] == "outside"
    others = set(after) - {"setback:A2.1"}
    assert all(after[key] == before[key] for key in others)
