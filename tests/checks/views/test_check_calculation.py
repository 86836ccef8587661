"""The page of one check: every figure between what was typed and the verdict."""

import math
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from checks.evaluation.check_calculation import trace_check
from checks.evaluation.evaluate import evaluate
from core.models import Person
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import (
    UnknownCheckError,
    build_check_sheet,
    find_check,
)
from jobs.exchange.input.parser import parse_building
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from tests.checks.conftest import Measure, entry
from tests.checks.views.test_plan_pages import document


def read(key: str, value: str, **more: Any) -> dict[str, Any]:
    return {"id": f"{key} {value}", "check": key, "value": value, **more}


def taped() -> dict[str, Any]:
    """A wall read twice with a tape that needs three corrections, and a level."""
    tape = {
        "kind": "steel tape",
        "class": "II",
        "nominal_length": "30 m",
        "actual_length": "30.004 m",
        "standard_tension": "50 N",
        "cross_section": "2.5 mm^2",
        "elastic_modulus": "205 GPa",
    }
    how = {"instrument": "T1", "temperature": "5 degC", "tension": "90 N"}
    return document(2) | {
        "instruments": {"T1": tape, "L1": {"kind": "optical level"}},
        "readings": [
            read("wall:A-B", "160' 0 1/8\"", **how),
            read("wall:A-B", "160' 0 1/16\"", **how),
            read("line:S1", "5' 1/16\"", **{"from": "A"}),
            read("level:S1", "4' 2 1/2\"", instrument="L1"),
        ],
    }


def test_a_reading_is_corrected_cause_by_cause() -> None:
    worked = trace_check(parse_building(taped()), "wall:A-B")
    length = 160 * 304.8 + 3.175
    first = worked.readings[0]
    # Ghilani and Wolf, Elementary Surveying, chapter 6
    assert first.corrections == pytest.approx(
        {
            "standardisation": 4.0 / 30_000 * length,
            "temperature": 11.6e-6 * (5 - 20) * length,
            "tension": (90 - 50) * length / (2.5 * 205_000),
        }
    )
    assert first.corrected == pytest.approx(length + sum(first.corrections.values()))


def test_the_uncertainty_is_that_of_class_resolution_and_handling() -> None:
    worked = trace_check(parse_building(taped()), "wall:A-B")
    # OIML R 35-1, class II, 49 m begun; an eighth and a sixteenth as typed
    tape = (0.3 + 0.2 * 49) / math.sqrt(3)
    eighth = 25.4 / 8 / math.sqrt(12)
    first = worked.readings[0]
    handling = 1.5  # from 10 m on, project choice
    assert first.uncertainties == pytest.approx(
        {"class": tape, "resolution": eighth, "handling": handling}
    )
    assert first.combined == pytest.approx(math.hypot(tape, eighth, handling))
    own = math.hypot(eighth, eighth / 2, handling, handling)
    assert worked.uncertainty == pytest.approx(math.hypot(tape, own / 2))


def test_leans_over_several_heights_are_worked_out_over_the_greatest() -> None:
    building = parse_building(
        taped()
        | {
            "readings": [
                read("plumb:S1.in", "3 mm", height="1.5 m"),
                read("plumb:S1.in", "10 mm", height="4 m"),
            ]
        }
    )
    worked = trace_check(building, "plumb:S1.in")
    # 3 mm in 1.5 m is 8 mm in 4 m, and what it is uncertain by grows with it
    assert [each.corrected for each in worked.readings] == pytest.approx([8.0, 10.0])
    assert worked.mean == pytest.approx(9.0)
    assert worked.spread == pytest.approx(2.0)
    short, full = worked.readings
    assert short.combined == pytest.approx(full.combined * 4.0 / 1.5, rel=2e-3)


def test_a_check_worked_out_is_what_the_building_was_judged_by() -> None:
    building = parse_building(taped())
    judged = {row["check"]: row for row in evaluate(building)["checks"]}
    for key in ("wall:A-B", "line:S1"):
        worked = trace_check(building, key)
        assert worked.mean == judged[key]["observed"]
        assert worked.uncertainty == judged[key]["uncertainty"]
        assert worked.spread == judged[key]["spread"]


def test_a_level_has_the_uncertainty_of_its_sight() -> None:
    (reading,) = trace_check(parse_building(taped()), "level:S1").readings
    assert reading.uncertainties["level"] == pytest.approx(1.0)  # 30 m are assumed
    assert reading.corrections == {}


def test_a_tape_that_cannot_be_right_corrects_nothing() -> None:
    given = taped()
    given["readings"][0]["tension"] = "0.001 N"
    given["instruments"]["T1"]["elastic_modulus"] = "1 MPa"
    first = trace_check(parse_building(given), "wall:A-B").readings[0]
    assert first.impossible
    assert first.corrections == {}


def test_a_reading_that_was_replaced_is_not_worked_out() -> None:
    given = taped()
    given["readings"][1]["supersedes"] = given["readings"][0]["id"]
    worked = trace_check(parse_building(given), "wall:A-B")
    assert [r.reading.id for r in worked.readings] == [given["readings"][1]["id"]]


def test_a_check_nobody_read_has_no_figures() -> None:
    worked = trace_check(parse_building(taped()), "gage:S1.1-2")
    assert worked.readings == ()
    assert math.isnan(worked.mean)


def test_a_check_the_plan_does_not_have_is_refused() -> None:
    with pytest.raises(UnknownCheckError):
        trace_check(parse_building(taped()), "level:X9")


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("diagonal:A-C", "diagonal A to C"),
        ("setback:S1.2", "the setback of rod 2 at S1"),
        ("gage:S1.1-2", "the gage of rods 1 and 2 at S1"),
        ("level:S2", "pad S2"),
        ("plumb:S1.in", "the lean of S1 in"),
    ],
)
def test_a_sentence_names_a_check_in_words(key: str, said: str) -> None:
    assert find_check(parse_building(taped()).plan, key).description == said


@pytest.mark.django_db
def test_the_page_shows_each_correction_and_the_verdict(
    client: Client, building: Building, measure: Measure, field_lead: Person
) -> None:
    sheet = build_check_sheet(load_plan(building.current_revision()))
    key = next(check.key for check in sheet if check.kind is CheckKind.DIAGONAL)
    measure(entry(key, "25 m", temperature="5 degC"))
    client.force_login(field_lead)
    page = client.get(reverse("checks:check", args=[building.pk, key]))
    text = " ".join(strip_tags(page.content.decode()).split())
    # 11.6e-6 * 15 * 25 m = 4.35 mm; the building is drawn in feet and inches.
    assert "temperature \N{MINUS SIGN}0.1713 in" in text
    assert "JCGM 106:2012" in text
    assert "outside" in text


@pytest.mark.django_db
def test_a_reading_set_aside_is_shown_with_its_reason(
    client: Client, building: Building, measure: Measure, field_lead: Person
) -> None:
    sheet = build_check_sheet(load_plan(building.current_revision()))
    key = next(check.key for check in sheet if check.kind is CheckKind.WALL)
    measure(entry(key, "24 m"), entry(key, "23 m"), entry(key, "24.002 m"))
    client.force_login(field_lead)
    page = client.get(reverse("checks:check", args=[building.pk, key]))
    text = " ".join(page.content.decode().split())
    assert text.count("Set aside:") == 1
    assert "less than the 2 readings that agree" in text
    assert "pull, mark and plumb bob 0.0591 in" in " ".join(strip_tags(text).split())


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["check", "reading_history"])
def test_a_withdrawn_reading_is_shown_with_its_reason(
    address: str,
    client: Client,
    building: Building,
    measure: Measure,
    field_lead: Person,
) -> None:
    sheet = build_check_sheet(load_plan(building.current_revision()))
    key = next(check.key for check in sheet if check.kind is CheckKind.WALL)
    measure(entry(key, "24 m"), entry(key, "23 m", withdrawn="Over a stake."))
    client.force_login(field_lead)
    arguments = [building.pk, key] if address == "check" else [building.pk]
    page = client.get(reverse(f"checks:{address}", args=arguments))
    text = " ".join(page.content.decode().split())
    assert text.count("withdrawn: Over a stake.") == 1
    assert "<s>23 m</s>" in text


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address",
    [
        "check",
        "building",
        "levels",
        "reading_history",
        "shims",
        "building_pdf",
        "measure",
    ],
)
def test_pages_show_a_check_whose_readings_contradict_without_a_value(
    address: str,
    client: Client,
    building: Building,
    measure: Measure,
    field_lead: Person,
) -> None:
    sheet = build_check_sheet(load_plan(building.current_revision()))
    kinds = (CheckKind.WALL, CheckKind.DIAGONAL, CheckKind.LEVEL, CheckKind.LINE)
    keys = [next(c.key for c in sheet if c.kind is kind) for kind in kinds]
    for key in keys:
        measure(entry(key, "2.4 m"), entry(key, "2.3 m"))
    client.force_login(field_lead)
    for key in keys if address == "check" else [None]:
        where = [building.pk] if key is None else [building.pk, key]
        page = client.get(
            building.get_absolute_url()
            if address == "building"
            else reverse(f"checks:{address}", args=where)
        )
        assert page.status_code == 200
        if key:
            text = " ".join(page.content.decode().split())
            assert "Remeasure" in text or "remeasure" in text
            assert "differ by" in text


@pytest.mark.django_db
def test_a_check_that_is_not_on_the_plan_has_no_page(
    client: Client, building: Building, field_lead: Person
) -> None:
    client.force_login(field_lead)
    address = reverse("checks:check", args=[building.pk, "level:nowhere"])
    assert client.get(address).status_code == 404
