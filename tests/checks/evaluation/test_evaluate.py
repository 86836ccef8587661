"""A building evaluated whole, held to the contract of the exchange document."""

import copy
import json
import math
from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
FLOAT_SLACK = 1e-6  # mm; what domain and contract allow a verdict to hang on


def result_of(document: Document) -> Document:
    return evaluate(parse_building(document))


def check(result: Document, key: str) -> Document:
    return next(c for c in result["checks"] if c["check"] == key)


def finding(result: Document, topic: str) -> Document:
    return next(f for f in result["findings"] if f["finding"] == topic)


def position(result: Document, mark: str) -> Document:
    return next(p for p in result["positions"] if p["mark"] == mark)


def test_a_perfect_building_has_no_finding() -> None:
    result = result_of(documents.shed())
    assert result["findings"] == []
    assert {c["verdict"] for c in result["checks"]} == {"within"}
    assert result["squareness"]["verdict"] == "within"
    assert result["concrete"]["verdict"] == "within"


def test_the_result_is_json_without_nan() -> None:
    result = result_of(documents.plan())
    assert json.loads(json.dumps(result, allow_nan=False)) == result


def test_nothing_measured_is_unmeasured_and_never_within() -> None:
    result = result_of(documents.plan())
    assert {c["verdict"] for c in result["checks"]} == {"unmeasured"}
    assert result["squareness"]["verdict"] == "unmeasured"
    assert result["concrete"]["verdict"] == "unmeasured"
    assert result["findings"] == []
    rods = [rod for p in result["positions"] for rod in p["rods"]]
    assert {rod["verdict"] for rod in rods} == {"unmeasured"}
    assert all(p["plate_fit"] is None for p in result["positions"])


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ('6 1/8"', "within"),
        ("0.510416666667 ft", "within"),
        ("155.575 mm", "within"),
        ("15.5575 cm", "within"),
        ('6 9/64"', "outside"),
        ("0.511 ft", "outside"),
        ("155.576 mm", "outside"),
        ('5 7/8"', "within"),
        ("149.224 mm", "outside"),
    ],
)
def test_a_rod_at_its_limit_is_within_whatever_the_unit(
    value: str, verdict: str
) -> None:
    # common practice: 1/8 in for setback; 6 in planned
    def change(document: Document) -> None:
        documents.reading_of(document, "setback:A1.1")["value"] = value

    result = result_of(documents.shed(change))
    assert check(result, "setback:A1.1")["verdict"] == verdict


def test_checks_follow_the_plan_and_name_their_rods() -> None:
    result = result_of(documents.shed())
    keys = [c["check"] for c in result["checks"]]
    assert keys[:3] == ["diagonal:SW-NE", "diagonal:SE-NW", "wall:SW-SE"]
    assert keys.index("setback:A1.1") < keys.index("setback:B1.1")
    assert check(result, "setback:A2.3")["rods"] == [3]


def test_diagonals_apart_open_a_finding_that_squares_up() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "diagonal:SW-NE", 12.0)
        documents.off_by(document, "diagonal:SE-NW", -12.0)

    result = result_of(documents.shed(change))
    square = result["squareness"]
    assert square["difference"] == pytest.approx(24.0)
    # 1/4 in per 50 ft of the mean nominal diagonal: common practice
    diagonal = math.hypot(96, 64) * 304.8
    assert square["limit"] == pytest.approx(diagonal * 6.35 / 15240)
    assert square["verdict"] == "outside"
    # plane geometry: p^2 - q^2 = 4 a b sin(lean)
    p, q = diagonal + 12, diagonal - 12
    lean = math.asin((p**2 - q**2) / (4 * 96 * 64 * 304.8**2))
    assert square["lean"] == pytest.approx(lean, rel=1e-4)
    remedies = [r["remedy"] for r in finding(result, "squareness")["remedies"]]
    assert remedies == ["square_up", "refer"]
    move = finding(result, "squareness")["remedies"][0]["moves"][0]
    assert abs(move["move"]) == pytest.approx(lean * 64 * 304.8, rel=1e-3)


def test_one_wrong_length_in_six_cannot_be_told_from_the_others() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "diagonal:SW-NE", 90.0)

    square = result_of(documents.shed(change))["squareness"]
    assert square["degrees_of_freedom"] == 1
    assert square["cannot_tell_which"]
    assert square["suspect_readings"] == []


def test_a_missing_wall_is_named() -> None:
    def change(document: Document) -> None:
        document["readings"] = [
            r
            for r in document["readings"]
            if r["check"] not in ("wall:SE-NE", "diagonal:SE-NW")
        ]

    square = result_of(documents.shed(change))["squareness"]
    assert not square["determined"]
    assert square["lean"] is None
    assert square["missing_readings"] == ["wall:SE-NE"]


def test_a_low_pad_gets_the_nearest_stack() -> None:
    def change(document: Document) -> None:
        documents.level_precisely(document)
        documents.off_by(document, "level:B2", 4.0)

    result = result_of(documents.shed(change))
    pad = next(p for p in result["levels"]["pads"] if p["mark"] == "B2")
    assert pad["height"] == pytest.approx(-4.0, abs=2e-3)
    assert pad["stack"] == ['1/8"', '1/16"']
    assert pad["shim"] == pytest.approx(4.7625)
    assert pad["residual"] == pytest.approx(0.7625, abs=2e-3)
    proposal = finding(result, "level:B2")["remedies"][0]
    assert (proposal["remedy"], proposal["approval"]) == ("shim", "field")
    assert result["levels"]["pack_list"] == [
        {"thickness": '1/8"', "count": 1},
        {"thickness": '1/16"', "count": 1},
    ]


def test_a_pad_too_low_to_shim_is_referred() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "level:B2", 12.8)  # over 1/2 in, common practice

    proposal = finding(result_of(documents.shed(change)), "level:B2")["remedies"][0]
    assert (proposal["remedy"], proposal["approval"]) == ("refer", "engineer")


def test_a_pad_at_the_most_that_is_shimmed_is_shimmed() -> None:
    def change(document: Document) -> None:
        documents.level_precisely(document)
        documents.off_by(document, "level:B2", 12.697)

    proposal = finding(result_of(documents.shed(change)), "level:B2")["remedies"][0]
    assert proposal["stack"] == ['1/2"']


def test_one_high_pad_may_be_lowered_instead() -> None:
    def change(document: Document) -> None:
        documents.level_precisely(document)
        documents.off_by(document, "level:A1", -6.0)

    result = result_of(documents.shed(change))
    assert result["levels"]["lower_pad"] == {
        "mark": "A1",
        "lower_by": pytest.approx(6.0, abs=2e-3),
        "shims_saved": 5,
    }
    remedies = [r["remedy"] for r in finding(result, "level:B2")["remedies"]]
    assert remedies == ["shim", "lower_pad", "refer"]


def test_a_rod_out_but_inside_its_hole_only_needs_a_shift() -> None:
    # clearance (1 1/16 - 7/8) / 2 = 3/32 in = 2.38 mm; 4 mm off needs a small move
    def change(document: Document) -> None:
        documents.off_by(document, "setback:A1.1", 4.0)

    result = result_of(documents.shed(change))
    assert position(result, "A1")["plate_fit"]["fits"]
    proposal = finding(result, "position:A1")["remedies"][0]
    assert (proposal["remedy"], proposal["approval"]) == ("shift", "field")


def test_a_rod_beyond_its_hole_is_reamed_and_the_engineer_decides() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "setback:A1.1", 12.0)

    result = result_of(documents.confirm(documents.shed(change)))
    fit = position(result, "A1")["plate_fit"]
    assert not fit["fits"]
    assert fit["hole_needed"] == pytest.approx(26.9875 + 2 * fit["overrun"])
    proposal = finding(result, "position:A1")["remedies"][0]
    assert (proposal["remedy"], proposal["approval"]) == ("ream", "engineer")
    assert proposal["hole_diameter"] >= fit["hole_needed"] - FLOAT_SLACK
    assert all(r["why_second"] for r in finding(result, "position:A1")["remedies"][1:])


def test_a_rod_more_than_an_inch_out_is_left_to_the_engineer() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "setback:A1.1", 29.0)
        document["steel"] = "shipped"

    result = result_of(documents.confirm(documents.shed(change)))
    proposal = finding(result, "position:A1")["remedies"][0]
    # 29 mm from its old stub a replacement fails its screen
    assert proposal["remedy"] == "refer"
    assert [rod["rod"] for rod in proposal["rods"]] == [1]
    assert "fails its screen" in proposal["reason"]


def test_without_edge_distance_no_hole_is_opened() -> None:
    def change(document: Document) -> None:
        del document["details"]["M"]["plate"]["edge_distance"]
        documents.off_by(document, "setback:A1.1", 12.0)

    found = finding(result_of(documents.shed(change)), "position:A1")
    # nor is a rod cut off for want of a number that is on the plate's drawing
    assert {"ream", "slot", "re_anchor"} <= {r["remedy"] for r in found["ruled_out"]}
    first = found["remedies"][0]
    assert first["remedy"] == "refer"
    assert "gives no edge distance" in first["reason"]
    assert first["hole_diameter"] > 17 / 16 * 25.4  # as punched


def test_repeats_that_disagree_are_measured_again() -> None:
    def change(document: Document) -> None:
        again = copy.deepcopy(documents.reading_of(document, "setback:A1.1"))
        again |= {"id": "again", "value": '6 1/2"'}
        document["readings"].append(again)

    result = result_of(documents.shed(change))
    assert check(result, "setback:A1.1")["verdict"] == "remeasure"
    assert finding(result, "position:A1")["remedies"][0]["remedy"] == "remeasure"


def test_a_gage_that_contradicts_the_setbacks_is_measured_again() -> None:
    def change(document: Document) -> None:
        document["readings"].append(
            {"id": "g", "check": "gage:A1.1-3", "value": '6 1/2"', "instrument": "T1"}
        )

    result = result_of(documents.shed(change))
    assert check(result, "gage:A1.1-3")["verdict"] == "outside"
    again = finding(result, "position:A1")["remedies"][0]
    assert again["remedy"] == "remeasure"
    assert "contradict" in again["reason"]


def test_a_superseded_reading_is_out_of_the_arithmetic() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "wall:SW-SE", 300.0)
        first = documents.reading_of(document, "wall:SW-SE")
        document["readings"].append(
            {**first, "id": "better", "value": "96'", "supersedes": first["id"]}
        )

    result = result_of(documents.shed(change))
    wall = check(result, "wall:SW-SE")
    assert (wall["readings"], wall["verdict"]) == (1, "within")
    assert wall["reading_ids"] == ["better"]


def test_a_line_may_be_read_from_either_corner() -> None:
    def change(document: Document) -> None:
        line = documents.reading_of(document, "line:A1")
        line |= {"value": "72' 1/16\"", "from": "SE"}

    line = check(result_of(documents.shed(change)), "line:A1")
    assert line["deviation"] == pytest.approx(-1.5875, abs=1e-6)


def test_cold_tape_is_corrected_only_where_the_temperature_is_given() -> None:
    def change(document: Document) -> None:
        documents.reading_of(document, "wall:SW-SE")["temperature"] = "5 degC"

    wall = check(result_of(documents.shed(change)), "wall:SW-SE")
    # published form: alpha L (T - T0), alpha 11.6e-6 per degree C
    assert wall["correction"] == pytest.approx(11.6e-6 * 96 * 304.8 * -15, rel=1e-6)


def test_concrete_below_three_quarters_waits() -> None:
    def change(document: Document) -> None:
        documents.reading_of(document, "strength:F1")["value"] = "2624 psi"

    result = result_of(documents.shed(change))
    # 29 CFR 1926.752(a)(1): 0.75 x 3500 = 2625 psi
    assert result["concrete"]["verdict"] == "outside"
    proposal = finding(result, "strength")["remedies"][0]
    assert proposal["remedy"] == "wait_for_strength"


def test_concrete_at_three_quarters_opens_the_gate() -> None:
    def change(document: Document) -> None:
        documents.reading_of(document, "strength:F1")["value"] = "2625 psi"

    assert result_of(documents.shed(change))["concrete"]["verdict"] == "within"


def test_a_short_rod_says_how_much_thread_is_missing() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "projection:A1.2", -60.0)

    found = finding(result_of(documents.shed(change)), "projection:A1")
    assert found["remedies"][0]["remedy"] == "extend_rod"
    # 5/8 plate + 0.165 washer + 0.885 nut (ASME B18.2.2, secondary)
    left = 95.25 - 60.0 - 15.875 - 0.165 * 25.4 - 0.885 * 25.4
    assert found["remedies"][0]["thread_left"] == pytest.approx(left, abs=1e-3)


def test_a_leaning_column_is_pulled_back_by_its_lean() -> None:
    def change(document: Document) -> None:
        document["readings"].append(
            {
                "id": "plumb-1",
                "check": "plumb:A1.in",
                "value": "13 mm",
                "height": "6 m",
            }
        )

    result = result_of(documents.shed(change))
    # AISC 303 7.13.1.1: 1/500 of the height, 12 mm in 6 m
    assert check(result, "plumb:A1.in")["limit"] == pytest.approx(12.0)
    proposal = finding(result, "plumb:A1.in")["remedies"][0]
    assert (proposal["remedy"], proposal["move"]) == ("plumb_up", pytest.approx(-13))


def test_pads_of_an_untied_set_up_are_not_judged() -> None:
    def change(document: Document) -> None:
        documents.reading_of(document, "level:B3")["setup"] = "2"

    result = result_of(documents.shed(change))
    assert check(result, "level:B3")["verdict"] == "unmeasured"


def test_every_unit_of_entry_gives_the_same_verdicts() -> None:
    metric = result_of(documents.shed())
    imperial = result_of(documents.as_imperial(documents.shed()))
    assert [c["verdict"] for c in metric["checks"]] == [
        c["verdict"] for c in imperial["checks"]
    ]


def test_an_override_is_used_and_named() -> None:
    def change(document: Document) -> None:
        document["tolerances"]["overrides"] = {"rod_location": '3/16"'}
        documents.off_by(document, "setback:A1.1", 4.5)

    result = result_of(documents.shed(change))
    assert result["tolerances"]["rod_location"]["source"] == "override"
    assert result["tolerances"]["rod_location"]["value"] == pytest.approx(4.7625)
    assert check(result, "setback:A1.1")["verdict"] == "within"


def test_fewer_than_four_rods_are_accepted_with_a_standing_caution() -> None:
    def change(document: Document) -> None:
        del document["details"]["M"]["rods"][2:]
        document["readings"] = []

    result = result_of(documents.shed(change))
    assert any("1926.758(b)" in caution for caution in result["cautions"])


def test_a_rod_with_two_places_takes_the_nearer_and_says_so():
    # rod 2 by its setback and the gage from rod 1, which stands 12 mm along: 6 mm to
    # either side of rod 1 have the gage, and the plan has it at 5
    document = documents.shed()
    document["details"]["M"]["rods"] = [
        {"along": along, "in": inward, "diameter": '3/4"', "projection": '3"'}
        for along, inward in (("0 mm", "150 mm"), ("5 mm", "250 mm"))
    ]
    document["readings"] = [
        {"id": "a", "check": "line:A1", "value": "24'"},
        {"id": "b", "check": "offset:A1.1", "value": "12 mm"},
        {"id": "c", "check": "setback:A1.1", "value": "150 mm"},
        {"id": "d", "check": "setback:A1.2", "value": "250 mm"},
        {"id": "e", "check": "gage:A1.1-2", "value": f"{math.hypot(6, 100):.6f} mm"},
    ]
    row = position(result_of(document), "A1")
    first, second = row["rods"]
    assert second["along"] == pytest.approx(6.0, abs=1e-4)
    assert second["other_along"] == pytest.approx(18.0, abs=1e-4)
    assert second["other_in"] == pytest.approx(250.0, abs=1e-4)
    assert first["other_along"] is None
    assert row["note"] == (
        "The gages of rod 2 allow two places, 15\u204432\u2033 apart: the one nearer"
        " to the plan is taken. Read its offset to be sure."
    )


def test_a_withdrawn_reading_is_out_of_the_arithmetic() -> None:
    def change(document: Document) -> None:
        documents.off_by(document, "line:A2", 40.0)
        documents.reading_of(document, "line:A2")["withdrawn"] = "Tape was kinked."

    document = documents.shed(change)
    row = check(result_of(document), "line:A2")
    assert (row["verdict"], row["readings"]) == ("unmeasured", 0)
    first = documents.reading_of(document, "line:A2")
    document["readings"].append(
        {
            key: value
            for key, value in {**first, "id": "anew", "value": "48'"}.items()
            if key != "withdrawn"
        }
    )
    row = check(result_of(document), "line:A2")
    assert (row["verdict"], row["reading_ids"]) == ("within", ["anew"])


def test_a_withdrawn_correction_does_not_bring_back_what_it_replaced() -> None:
    document = documents.shed()
    first = documents.reading_of(document, "line:A2")
    document["readings"].append(
        {**first, "id": "anew", "supersedes": first["id"], "withdrawn": "Wrong line."}
    )
    assert check(result_of(document), "line:A2")["verdict"] == "unmeasured"
