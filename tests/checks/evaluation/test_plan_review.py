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
    return dict(review_plan(parse_building(document).plan))


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
    assert "/positions/3/mark" in dict(review_plan(plan))


def test_a_good_plan_has_no_warning_and_the_result_names_the_others():
    assert warnings_of(lambda document: None) == {}
    document = deepcopy(documents.plan())
    narrow_edge(document)
    (warning,) = evaluate(parse_building(document))["plan_warnings"]
    assert warning["pointer"] == "/details/M/plate/edge_distance"
