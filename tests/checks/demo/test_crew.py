"""Simulated crews: reproducible, and blameless where they make no mistake."""

from datetime import UTC, datetime

import numpy as np
import pytest

from checks.demo import crew as crews
from checks.demo import drawings
from checks.demo.mistakes import MISTAKES, Mistake
from checks.evaluation.evaluate import evaluate
from core.units import parse_length
from jobs.exchange.parse import read_building
from jobs.plan.model import Plan

BEGUN = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
HALL = drawings.hall("Hall", "100'", "60'", "4 @ 25'", "3 @ 20'", web_ends=True)
METRIC = drawings.hall("Works", "24 m", "12 m", "4 @ 6 m", "2 @ 6 m", metric=True)
DOCUMENTS = {
    "hall": HALL,
    "metric": METRIC,
    "shed": drawings.shed("Shed"),
    "wing": drawings.ell("Wing"),
    "skewed": drawings.skewed("Skewed"),
}


def plan_of(document: dict) -> Plan:
    return read_building(document).plan


def read(
    document: dict,
    crew: crews.Crew,
    seed: int,
    spreads: crews.Spreads,
    mistake: Mistake | None = None,
) -> list[dict]:
    plan = plan_of(document)
    built = crews.build(plan, seed, spreads)
    rng = np.random.default_rng(seed)
    checks = crews.checks_of(plan, "foundation", "verification", optional=True)
    taken = crews.take(built, crew, rng, checks)
    if mistake is not None:
        assert mistake.spoil(built, taken, rng)
    return crews.write_down(taken, crew, rng, BEGUN)


def test_the_same_seed_gives_the_same_readings():
    first = read(HALL, crews.Crew(setups=2), 7, crews.Spreads())
    assert first == read(HALL, crews.Crew(setups=2), 7, crews.Spreads())


def test_another_seed_gives_other_readings():
    first = read(HALL, crews.Crew(), 7, crews.Spreads())
    other = read(HALL, crews.Crew(), 8, crews.Spreads())
    assert {e["id"] for e in first}.isdisjoint(e["id"] for e in other)
    assert [e["value"] for e in first] != [e["value"] for e in other]


@pytest.mark.parametrize("name", DOCUMENTS)
@pytest.mark.parametrize("hand", ["sixteenths", "decimal_feet", "millimetres"])
def test_a_perfect_crew_on_perfect_concrete_finds_nothing(name: str, hand: crews.Hand):
    crew = crews.Crew(
        hand=hand, noise=0.0, per_metre=0.0, level_noise=0.0, temperature_c=4.0
    )
    readings = read(DOCUMENTS[name], crew, 3, crews.AS_DRAWN)
    result = evaluate(read_building({**DOCUMENTS[name], "readings": readings}))
    assert result["findings"] == []
    verdicts = {c["verdict"] for c in result["checks"] if c["readings"]}
    assert verdicts == {"within"}


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda each: each.name)
def test_a_mistake_changes_the_checks_it_says_and_no_others(mistake: Mistake):
    honest = read(HALL, crews.Crew(setups=2), 11, crews.AS_DRAWN)
    plan = plan_of(HALL)
    built = crews.build(plan, 11, crews.AS_DRAWN)
    rng = np.random.default_rng(11)
    checks = crews.checks_of(plan, "foundation", "verification", optional=True)
    taken = crews.take(built, crews.Crew(setups=2), rng, checks)
    spoilt = set(mistake.spoil(built, taken, rng))
    written = crews.write_down(taken, crews.Crew(setups=2), rng, BEGUN)
    changed = {
        after["check"]
        for before, after in zip(honest, written, strict=True)
        if before["value"] != after["value"]
    }
    assert changed == spoilt


@pytest.mark.parametrize(
    ("hand", "mm", "typed"),
    [
        ("sixteenths", 7131.05, "23'-4 3/4\""),
        ("sixteenths", -50.8, '-2"'),
        ("decimal_feet", 7131.05, "23.396 ft"),
        ("decimal_feet", 95.25, '3 3/4"'),
        ("millimetres", 7131.05, "7131 mm"),
        ("metres", 7131.05, "7.131 m"),
    ],
)
def test_lengths_are_typed_as_each_hand_writes(hand: crews.Hand, mm: float, typed: str):
    assert crews.typed(mm, hand) == typed
    assert float(parse_length(typed).mm) == pytest.approx(mm, abs=0.8)


def test_readings_follow_each_other_in_time():
    readings = read(HALL, crews.Crew(), 5, crews.Spreads())
    times = [datetime.fromisoformat(entry["at"]) for entry in readings]
    assert times == sorted(set(times))
