"""Moving steel instead of rods, as a building's evaluation offers it."""

from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
OFF_MM = 9.525  # 3/8 in: more than the hole's clearance of 2.38 mm


def side_off(document: Document) -> None:
    """Every rod of one side stands 3/8 in further in than planned."""
    for mark in ("A1", "A2", "A3"):
        for rod in range(1, 5):
            documents.off_by(document, f"setback:{mark}.{rod}", OFF_MM)


@pytest.fixture(scope="module")
def result() -> Document:
    return evaluate(parse_building(documents.shed(side_off)))


def test_a_side_that_stands_off_is_offered_a_move_of_its_line(result: Document) -> None:
    line = next(s for s in result["steel_shifts"] if s["scope"] == "A1-A2-A3")
    # plan axes: in is up at the lower wall
    assert (line["shift_x"], line["turn"]) == (0.0, 0.0)
    assert line["shift_y"] == pytest.approx(OFF_MM, abs=1e-4)
    assert (line["rework_before"], line["rework_after"]) == (3, 0)
    assert line["proven"]
    for position in line["positions"]:
        assert position["miss_before"] == pytest.approx(OFF_MM - 2.38125, abs=1e-6)
        assert position["miss_after"] == pytest.approx(-2.38125, abs=1e-4)


def test_the_move_is_an_alternative_and_never_the_proposal(result: Document) -> None:
    for mark in ("A1", "A2", "A3"):
        finding = next(
            f for f in result["findings"] if f["finding"] == f"position:{mark}"
        )
        moves = [r for r in finding["remedies"] if r.get("scope") == "A1-A2-A3"]
        assert len(moves) == 1
        assert finding["remedies"][0] is not moves[0]
        assert (moves[0]["remedy"], moves[0]["approval"]) == ("shift", "engineer")
        assert moves[0]["why_second"]


def test_a_whole_grid_set_out_off_is_offered_a_move_of_all_the_steel() -> None:
    def change(document: Document) -> None:
        for row, sign in (("A", 1.0), ("B", -1.0)):
            for number in (1, 2, 3):
                for rod in range(1, 5):
                    key = f"setback:{row}{number}.{rod}"
                    documents.off_by(document, key, sign * OFF_MM)

    shifts = evaluate(parse_building(documents.shed(change)))["steel_shifts"]
    steel = next(s for s in shifts if s["scope"] == "steel")
    assert steel["shift_y"] == pytest.approx(OFF_MM, abs=1e-4)
    assert (steel["rework_before"], steel["rework_after"]) == (6, 0)
    assert steel["proven"]


def test_one_position_off_asks_for_no_move_of_the_steel() -> None:
    def change(document: Document) -> None:
        for rod in range(1, 5):
            documents.off_by(document, f"setback:A2.{rod}", OFF_MM)

    assert evaluate(parse_building(documents.shed(change)))["steel_shifts"] == []
