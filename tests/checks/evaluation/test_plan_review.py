"""The plan itself is doubted where no measurement could make it right."""

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from checks.evaluation.plan_review import review_plan
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]


def warnings_of(change: Callable[[Document], None]) -> dict[str, str]:
    document = deepcopy(documents.plan())
    change(document)
    found = review_plan(parse_building(document).plan)
    return {each.pointer: each.message for each in found}


def short_threads(document: Document) -> None:
    document["details"]["M"]["plate"]["thickness"] = '1"'
    document["details"]["M"]["rods"][1]["projection"] = '1 1/2"'


def narrow_edge(document: Document) -> None:
    # AISC 360 Table J3.4: 1 1/8 in for a 7/8 in rod
    document["details"]["M"]["plate"]["edge_distance"] = '1 1/16"'


def rods_overlap(document: Document) -> None:
    document["details"]["M"]["rods"][1]["along"] = '-1 3/4"'


def inch_apart(document: Document) -> None:
    document["positions"].append({**document["positions"][0], "mark": "A9"})
    document["positions"][-1]["along"] = "24' 1\""


@pytest.mark.parametrize(
    ("change", "pointer", "said"),
    [
        (short_threads, "/details/M/rods/1/projection", "too little for plate"),
        (narrow_edge, "/details/M/plate/edge_distance", "Table J3.4"),
        (rods_overlap, "/details/M/rods/1", "rods 1 and 2 overlap"),
        (inch_apart, "/positions/6", "A1 and A9 overlap"),
    ],
)
def test_a_plan_that_cannot_be_built_is_warned_of(
    change: Callable[[Document], None], pointer: str, said: str
):
    found = warnings_of(change)
    assert list(found) == [pointer]
    assert said in found[pointer]


@pytest.mark.parametrize("mark", ["a1", "\uff211", "A\u200b1", "A\u00a01"], ids=ascii)
def test_marks_that_look_alike_are_warned_of(mark: str):
    def change(document: Document) -> None:
        document["positions"][3]["mark"] = mark

    document = deepcopy(documents.plan())
    change(document)
    try:
        plan = parse_building(document).plan
    except ValueError:
        pytest.skip("refused already")
    assert "/positions/3/mark" in {each.pointer for each in review_plan(plan)}


def test_a_good_plan_has_no_warning_and_the_result_names_the_others():
    assert warnings_of(lambda document: None) == {}
    document = deepcopy(documents.plan())
    narrow_edge(document)
    (warning,) = evaluate(parse_building(document))["plan_warnings"]
    assert warning["pointer"] == "/details/M/plate/edge_distance"


def findings_of(change: Callable[[Document], None]) -> dict[str, dict[str, Any]]:
    document = documents.shed(change)
    found = evaluate(parse_building(document))["findings"]
    return {each["finding"]: each for each in found}


@pytest.mark.parametrize(
    ("change", "topic", "kind", "place"),
    [
        (short_threads, "plan:M", "threads", "rods 2"),
        (narrow_edge, "plan:M", "edge", ""),
        (inch_apart, "plan:A9", "positions_overlap", "A1 and A9"),
    ],
)
def test_a_doubt_about_the_plan_is_a_finding_for_the_engineer(
    change: Callable[[Document], None], topic: str, kind: str, place: str
):
    finding = findings_of(change)[topic]
    (remedy,) = finding["remedies"]
    assert (finding["checks"], finding["approval"]) == ([], "engineer")
    assert (finding["likely_cause"], finding["probability"]) == (None, None)
    assert remedy["remedy"] == "refer"
    assert remedy["reason"].endswith("Revise the plan, or accept it in writing.")
    (doubt,) = remedy["plan_doubts"]
    assert (doubt["kind"], doubt["place"]) == (kind, place)


def test_the_doubts_about_one_detail_are_one_finding_with_the_rest_counted():
    def change(document: Document) -> None:
        short_threads(document)
        narrow_edge(document)
        for number, rod in enumerate(document["details"]["M"]["rods"]):
            rod["along"] = f'{number - 2}"'
            rod["in"] = '6"'
            rod["projection"] = '1 1/2"'

    found = findings_of(change)
    assert [topic for topic in found if topic.startswith("plan:")] == ["plan:M"]
    (remedy,) = found["plan:M"]["remedies"]
    # edge, threads of all four rods as one, and the three neighbours that overlap
    assert len(remedy["plan_doubts"]) == 5
    assert "rods 1, 2, 3, 4 project" in remedy["reason"]
    assert "And 2 more." in remedy["reason"]


def test_a_detail_that_no_position_uses_has_a_warning_and_no_finding():
    def change(document: Document) -> None:
        spare = deepcopy(document["details"]["M"])
        spare["plate"]["edge_distance"] = '1"'
        document["details"]["SPARE"] = spare

    assert list(warnings_of(change)) == ["/details/SPARE/plate/edge_distance"]
    assert not findings_of(change)


@pytest.mark.parametrize(("projection", "short"), [(47.7, True), (47.9, False)])
def test_metric_rods_are_reviewed_with_their_own_nuts_and_washers(
    projection: float, short: bool
):
    # M24 at their thickest: plate 22, washer 4.3 (ISO 7089), nut 21.5 (ISO 4032): 47.8
    def change(document: Document) -> None:
        detail = document["details"]["M"]
        detail["plate"] = {
            "thickness": "22 mm",
            "hole_diameter": "27 mm",
            "edge_distance": "45 mm",
        }
        for rod in detail["rods"]:
            rod |= {"diameter": "24 mm", "projection": f"{projection} mm"}

    assert bool(warnings_of(change)) is short
