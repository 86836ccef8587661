"""A remedy's steps say how its own figures came about, and name the limits' sources."""

from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from checks.queries.limit_rows import list_screen_conditions, list_topic_limits
from checks.queries.remedy_explanations import (
    RemedyContext,
    Step,
    explain_remedy,
    summarise_remedy,
)
from checks.queries.remedy_values import list_values
from core.formatting import format_quantity
from core.units import format_length
from jobs.exchange.input.parser import parse_building
from tests import documents
from tests.checks.evaluation.test_fit_up import stacked
from tests.published.contract import confirm

INCH = 25.4


def case_of(
    document: dict[str, Any], topic: str
) -> tuple[RemedyContext, dict[str, Any]]:
    """Evaluate a document, and give what one of its findings proposes, by name."""
    building = parse_building(document)
    result = evaluate(building)
    (found,) = [row for row in result["findings"] if row["finding"] == topic]
    case = RemedyContext(
        mark=topic.partition(":")[2], plan=building.plan, result=result
    )
    return case, {row["remedy"]: row for row in found["remedies"]}


def words(steps: tuple[Step, ...]) -> str:
    told = "\n".join(
        "".join(
            format_quantity(piece.value or 0.0, piece.unit)
            if piece.unit
            else piece.text
            if piece.mm is None
            else format_length(piece.mm, "imperial", 64)
            for piece in step
        )
        for step in steps
    )
    return told.replace("\N{FRACTION SLASH}", "/")


def figures(step: Step) -> list[float]:
    return [piece.mm for piece in step if piece.mm is not None]


def low_by(inches: float, **members: Any) -> dict[str, Any]:
    """A2 so far below A1, which alone is the highest, by a level without noise."""

    def change(document: dict[str, Any]) -> None:
        documents.level_precisely(document)
        documents.off_by(document, "level:A1", -1.0)
        documents.off_by(document, "level:A2", inches * INCH - 1.0)

    return {**documents.shed(change), **members}


def test_a_tie_between_two_stacks_is_written_out() -> None:
    case, remedies = case_of(low_by(5 / 32), "level:A2")
    told = words(explain_remedy(remedies["shim"], case))
    assert "Next thinner stack of the plates on hand: 1/8″, off by 1/32″." in told
    assert "Next thicker stack of the plates on hand: 3/16″, off by 1/32″." in told
    assert "Chosen, equally near, so the thinner: 1/8″" in told
    assert "the highest pad: 5/32″." in told
    assert "within 1/8″" in told


def test_the_nearer_of_two_stacks_is_no_tie() -> None:
    case, remedies = case_of(low_by(11 / 64), "level:A2")
    told = words(explain_remedy(remedies["shim"], case))
    assert "1/8″, off by 3/64″." in told
    assert "3/16″, off by 1/64″." in told
    assert "Chosen, the nearest: 3/16″" in told


def test_a_stack_that_is_exact_is_off_by_nothing() -> None:
    case, remedies = case_of(low_by(1 / 4), "level:A2")
    told = words(explain_remedy(remedies["shim"], case))
    assert "add up to exactly that" in told
    assert "off by" not in told


def rods_apart(mm: float) -> dict[str, Any]:
    """Two rods of A2 off along the wall, away from each other."""

    def change(document: dict[str, Any]) -> None:
        documents.off_by(document, "offset:A2.1", -mm)
        documents.off_by(document, "offset:A2.4", mm)

    return documents.shed(change)


@pytest.mark.parametrize("mm", [5.0, 7.5])
def test_a_larger_hole_is_the_sum_of_what_its_steps_say(mm: float) -> None:
    case, remedies = case_of(rods_apart(mm), "position:A2")
    ream = remedies["ream"]
    by_start = {step[0].text: step for step in explain_remedy(ream, case)}
    hole, over, needed = figures(by_start["Hole needed, the same for all: "])
    assert hole == pytest.approx(1.0625 * INCH)
    assert needed == ream["hole_diameter"]
    assert hole + 2 * over == pytest.approx(needed)
    edge, reamed, punched, left = figures(by_start["Edge left: "])
    assert edge - (reamed - punched) / 2 == pytest.approx(left)
    assert left == ream["edge_left"]
    moved = figures(by_start["Plate moved by at most the line tolerance, "])
    assert moved[0] == pytest.approx(INCH / 8)
    assert moved[1:] == [ream["shift_along"], ream["shift_in"]]


def test_each_slot_is_as_long_as_the_hole_and_its_extension() -> None:
    case, remedies = case_of(rods_apart(5.0), "position:A2")
    slot = remedies["slot"]
    told = explain_remedy(slot, case)
    holes = [step for step in told if step[0].text.startswith("Hole ")]
    exact, ordered = holes[::2], holes[1::2]
    assert len(exact) == len(ordered) == len(slot["slots"])
    for one, other, each in zip(exact, ordered, slot["slots"], strict=True):
        width, extension, need = figures(one)
        assert width + extension == pytest.approx(need)
        clearance, length, ahead, behind = figures(other)
        assert clearance == behind == pytest.approx(INCH / 16)
        assert width + ahead + behind == pytest.approx(length) == each["length"]
        assert length >= need + 2 * clearance - 1e-6
    (direction,) = {
        figure.text
        for figure in list_values({"slots": slot["slots"][:1]})
        if "direction" in figure.label
    }
    assert direction.endswith("°")
    labels = {figure.label: figure.mm for figure in summarise_remedy(slot)}
    assert labels["edge left"] == slot["edge_left"]
    assert [slot["slots"][0]["length"]] == [
        mm
        for label, mm in labels.items()
        if label == f"slots {slot['slots'][0]['rod']}: length to order"
    ]


def test_a_replaced_rod_shows_every_condition_of_its_screen() -> None:
    case, remedies = case_of(rods_apart(40.0), "position:A2")
    again = remedies["refer"]  # 40 mm from its stub no replacement passes
    shown = list_screen_conditions(again)
    assert len(shown) == sum(len(rod["conditions"]) for rod in again["rods"])
    embedment = next(row for row in shown if "embedment" in row.label)
    assert words((embedment.value, embedment.required)) == "12 d\n4 to 20 d"
    assert embedment.outcome == "passes"
    assert "not a design" in words(explain_remedy(again, case))
    labels = [figure.label for figure in summarise_remedy(again)]
    assert any("from the plan" in label for label in labels)


def test_what_has_no_arithmetic_has_no_steps() -> None:
    case, remedies = case_of(low_by(5 / 32), "level:A2")
    assert explain_remedy(remedies["refer"], case) == ()


def test_limits_come_with_their_source_and_mark() -> None:
    case, _ = case_of(low_by(5 / 32), "level:A2")
    pad, up_to = list_topic_limits("level:A2", case.result["tolerances"])
    assert figures(pad.amount) == [pytest.approx(INCH / 8)]
    assert "common practice" in pad.source
    assert up_to.provenance == "common practice"
    tight = {
        "basis": "metal-building-practice",
        "overrides": {"pad_level": '1/16"'},
    }
    case, _ = case_of(low_by(5 / 32, tolerances=tight), "level:A2")
    pad, _ = list_topic_limits("level:A2", case.result["tolerances"])
    assert pad.source == "override"
    assert figures(pad.amount) == [pytest.approx(INCH / 16)]


@pytest.mark.parametrize(
    "basis",
    [
        "metal-building-practice",
        "aisc-303-2010",
        "aisc-303-2016",
        "aci-117-2010",
        "en-1090-2-2008",
    ],
)
def test_every_finding_of_every_basis_names_its_limits_and_has_steps_in_words(
    basis: str,
) -> None:
    document = documents.shed()
    document["tolerances"] = {"basis": basis}
    for number, reading in enumerate(document["readings"]):
        if reading["value"].endswith(" mm"):
            value = float(reading["value"].removesuffix(" mm"))
            reading["value"] = f"{value + 2 + number % 7 * 2:.3f} mm"
        else:
            reading["value"] = "900 psi"
    building = parse_building(document)
    result = evaluate(building)
    assert len(result["findings"]) > 10
    for found in result["findings"]:
        topic = found["finding"]
        shown = list_topic_limits(topic, result["tolerances"])
        assert shown, topic
        assert all(limit.source and limit.amount for limit in shown)
        mark = topic.partition(":")[2]
        case = RemedyContext(mark=mark, plan=building.plan, result=result)
        for remedy in found["remedies"]:
            assert "nan" not in words(explain_remedy(remedy, case)).lower()


def test_plates_to_open_are_listed_with_the_need_and_what_is_ordered() -> None:
    case, remedies = case_of(confirm(stacked()), "fit_up")
    steps = explain_remedy(remedies["ream"], case)
    assert len(steps) == 1 + len(remedies["ream"]["open"])
    for step, plate in zip(steps[1:], remedies["ream"]["open"], strict=True):
        assert f"{plate['mark']}: needed" in words((step,))
        assert figures(step) == [plate["exact"], plate["hole"]]
    labels = [each.label for each in list_values(remedies["ream"])]
    first = remedies["ream"]["open"][0]["mark"]
    assert labels[:2] == [
        f"open {first}: holes to order",
        f"open {first}: holes, exact need",
    ]
