"""Simulated crews: reproducible, and within every limit without a mistake."""

from datetime import UTC, datetime

import numpy as np
import pytest

from checks.demo import plan_documents
from checks.demo.crew import (
    Crew,
    LengthStyle,
    list_stage_checks,
    take_readings,
    write_entries,
    write_length,
)
from checks.demo.foundation import NO_SPREAD, FoundationSpread, build_foundation
from checks.demo.mistakes import MISTAKES, CrewMistake
from checks.evaluation.evaluate import evaluate
from core.units import parse_length
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

BEGUN = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)
HALL = plan_documents.build_hall(
    "Hall", "100'", "60'", "4 @ 25'", "3 @ 20'", web_ends=True
)
METRIC = plan_documents.build_hall(
    "Works", "24 m", "12 m", "4 @ 6 m", "2 @ 6 m", metric=True
)
DOCUMENTS = {
    "hall": HALL,
    "metric": METRIC,
    "shed": plan_documents.load_plan_document("shed", "Shed"),
    "wing": plan_documents.load_plan_document("l_shaped_hall", "Wing"),
    "skewed": plan_documents.load_plan_document("skewed_hall", "Skewed"),
}


def plan_of(document: dict) -> Plan:
    return parse_building(document).plan


def read(
    document: dict,
    crew: Crew,
    seed: int,
    spreads: FoundationSpread,
    mistake: CrewMistake | None = None,
) -> list[dict]:
    plan = plan_of(document)
    built = build_foundation(plan, seed, spreads)
    rng = np.random.default_rng(seed)
    checks = list_stage_checks(plan, "foundation", "verification", optional=True)
    taken = take_readings(built, crew, rng, checks)
    if mistake is not None:
        assert mistake.apply(built, taken, rng)
    return write_entries(taken, crew, rng, BEGUN)


def test_the_same_seed_gives_the_same_readings():
    first = read(HALL, Crew(setups=2), 7, FoundationSpread())
    assert first == read(HALL, Crew(setups=2), 7, FoundationSpread())


def test_another_seed_gives_other_readings():
    first = read(HALL, Crew(), 7, FoundationSpread())
    other = read(HALL, Crew(), 8, FoundationSpread())
    assert {e["id"] for e in first}.isdisjoint(e["id"] for e in other)
    assert [e["value"] for e in first] != [e["value"] for e in other]


@pytest.mark.parametrize("name", DOCUMENTS)
@pytest.mark.parametrize("hand", ["sixteenths", "decimal_feet", "millimetres"])
def test_a_perfect_crew_on_perfect_concrete_finds_nothing(name: str, hand: LengthStyle):
    crew = Crew(
        length_style=hand, noise=0.0, per_metre=0.0, level_noise=0.0, temperature_c=4.0
    )
    readings = read(DOCUMENTS[name], crew, 3, NO_SPREAD)
    result = evaluate(parse_building({**DOCUMENTS[name], "readings": readings}))
    assert result["findings"] == []
    verdicts = {c["verdict"] for c in result["checks"] if c["readings"]}
    assert verdicts == {"within"}


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda each: each.name)
def test_a_mistake_changes_the_checks_it_returns_and_no_others(mistake: CrewMistake):
    honest = read(HALL, Crew(setups=2), 11, NO_SPREAD)
    plan = plan_of(HALL)
    built = build_foundation(plan, 11, NO_SPREAD)
    rng = np.random.default_rng(11)
    checks = list_stage_checks(plan, "foundation", "verification", optional=True)
    taken = take_readings(built, Crew(setups=2), rng, checks)
    spoilt = set(mistake.apply(built, taken, rng))
    written = write_entries(taken, Crew(setups=2), rng, BEGUN)
    changed = {
        after["check"]
        for before, after in zip(honest, written, strict=True)
        if before["value"] != after["value"]
    }
    assert changed == spoilt


@pytest.mark.parametrize(
    ("hand", "mm", "typed"),
    [
        ("sixteenths", 9645.65, "31'-7 3/4\""),
        ("sixteenths", -50.8, '-2"'),
        ("decimal_feet", 9645.65, "31.646 ft"),
        ("decimal_feet", 95.25, '3 3/4"'),
        ("millimetres", 9645.65, "9646 mm"),
        ("metres", 9645.65, "9.646 m"),
    ],
)
def test_lengths_are_written_in_each_style(hand: LengthStyle, mm: float, typed: str):
    assert write_length(mm, hand) == typed
    assert float(parse_length(typed).mm) == pytest.approx(mm, abs=0.8)


def test_readings_follow_each_other_in_time():
    readings = read(HALL, Crew(), 5, FoundationSpread())
    times = [datetime.fromisoformat(entry["at"]) for entry in readings]
    assert times == sorted(set(times))
