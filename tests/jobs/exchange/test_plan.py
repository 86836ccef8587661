"""Plans in exchange documents: what is read, and every refusal with its pointer."""

import copy
import math

import pytest

from core.units import parse_length
from core.vocabulary import SteelState
from jobs.exchange.input.parser import parse_building
from jobs.exchange.vocabulary import OVERRIDE_LENGTHS, TOLERANCE_BASES
from tests.jobs.exchange.example import changed, example, plan, refusals


def test_the_example_fits():
    assert refusals(example()) == {}


def test_everything_arrives_in_millimetres_radians_and_megapascals():
    read = plan()
    assert read.name == "Fern Hollow hay store"
    assert (read.outline[2].x, read.outline[2].y) == (27432.0, 14630.4)
    assert read.notch is not None
    assert (read.notch.width, read.notch.depth) == (38.1, 31.75)
    rod = read.details["P"].rods[2]
    assert (rod.number, rod.along, rod.inward) == (3, -63.5, 330.2)
    assert (rod.diameter, rod.projection) == (19.05, 76.2)
    on_wall, at_point = read.positions
    assert (on_wall.wall, on_wall.along, on_wall.x) == (("SW", "SE"), 6858.0, None)
    assert (at_point.wall, at_point.x) == (None, 13716.0)
    assert at_point.turn == pytest.approx(math.pi / 2)
    assert read.concrete.specified_strength == pytest.approx(24.13165, abs=1e-5)
    assert str(read.concrete.placed_on) == "2026-04-07"
    assert read.tolerances.basis == "aisc-303-2010"
    assert read.tolerances.overrides == {"rod_location": 4.7625, "plumb": 0.0025}
    assert [each.text for each in read.shim_thicknesses] == ['1/16"', '1/8"', '3/8"']


def test_instruments_arrive_in_the_units_of_their_corrections():
    tape, level = plan().instruments["T1"], plan().instruments["L1"]
    assert (tape.accuracy_class, tape.standard_temperature) == ("II", 20.0)
    assert (tape.nominal_length, tape.actual_length) == (30480.0, 30481.5875)
    assert tape.standard_tension == 50.0
    assert tape.cross_section == pytest.approx(2.5)
    assert tape.elastic_modulus == pytest.approx(205000)
    assert tape.weight == pytest.approx(0.19)
    assert (level.standard_uncertainty, level.collimation) == (1.2, 0.001)


def test_four_corners_imply_both_diagonals():
    document = example()
    del document["diagonals"], document["readings"]
    assert parse_building(document).plan.diagonals == (("SW", "NE"), ("SE", "NW"))
    document["diagonals"] = []
    assert parse_building(document).plan.diagonals == ()


def test_only_four_members_are_needed():
    document = {
        "format": "padstone.building/1",
        "name": "bare",
        "length_unit": "m",
        "outline": [
            {"corner": "1", "x": 0, "y": 0},
            {"corner": "2", "x": 9, "y": 0},
            {"corner": "3", "x": 0, "y": 12},
        ],
    }
    read = parse_building(document)
    assert read.readings == ()
    assert (read.plan.diagonals, read.plan.positions) == ((), ())
    assert read.plan.tolerances.basis == "metal-building-practice"


def test_steel_is_fabricated_unless_the_document_says_otherwise():
    assert plan().steel == "fabricated"
    assert plan(steel="detailing").steel is SteelState.DETAILING
    assert plan(steel="shipped").steel is SteelState.SHIPPED


def test_names_lose_the_spaces_at_their_ends_wherever_they_stand():
    document = changed("/positions/0/mark", " S1 ")
    document["positions"][0]["detail"] = "P "
    document["details"][" P"] = document["details"].pop("P")
    document["outline"][0]["corner"] = " SW "
    assert refusals(document) == {}


@pytest.mark.parametrize("basis", TOLERANCE_BASES)
def test_every_basis_can_be_named(basis):
    assert refusals(changed("/tolerances/basis", basis)) == {}


@pytest.mark.parametrize("key", OVERRIDE_LENGTHS)
def test_a_limit_can_be_set_as_a_length(key):
    read = plan(tolerances={"overrides": {key: '3/8"'}, "guarded": True})
    assert read.tolerances.overrides == {key: 9.525}
    assert read.tolerances.guarded


@pytest.mark.parametrize(
    ("value", "ratio"),
    [(0.8, 0.8), (1, 1.0), ("0.8", 0.8), ("4/5", 0.8), (".8", 0.8), ("1 / 500", 0.002)],
)
def test_a_ratio_is_a_plain_number_or_a_fraction(value, ratio):
    read = plan(tolerances={"overrides": {"strength_ratio": value}})
    assert read.tolerances.overrides == {"strength_ratio": ratio}


@pytest.mark.parametrize("text", ["0.75 deg", "0.01308996938996 rad", "45 arcmin"])
def test_the_turn_of_a_plate_is_an_angle_with_its_unit(text):
    read = plan(tolerances={"overrides": {"column_turn": text}})
    assert read.tolerances.overrides["column_turn"] == pytest.approx(
        0.75 * math.pi / 180, abs=1e-12
    )


ROD = {"in": 100, "along": 0, "diameter": 1}

REFUSED = [
    # the document
    ("/format", "padstone.building/2", "padstone.building/1"),
    ("/name", "", "cannot be empty"),
    ("/name", 7, "must be text"),
    ("/name", "two\nlines", "one line"),
    ("/name", "lone \ud800", "one line"),
    ("/name", "n" * 121, "longer than 120"),
    ("/length_unit", "yd", "in, ft, mm, cm, m"),
    ("/shed", 1, "Unknown field “shed”"),
    ("/steel", "made", "detailing, fabricated, shipped"),
    ("/steel", "", "detailing, fabricated, shipped"),
    ("/steel", None, "null"),
    # the outline
    ("/outline", {}, "must be a list"),
    ("/outline/1/x", True, "true or false"),
    ("/outline/1/x", "90", "no unit"),
    ("/outline/1/x", float("nan"), "finite"),
    ("/outline/1/x", None, "null"),
    ("/outline/1/z", 0, "Unknown field “z”"),
    ("/outline/1/corner", "", "cannot be empty"),
    ("/outline/1/corner", "SW", "two corners named SW"),
    ("/outline/2", 5, "must be an object"),
    # diagonals
    ("/diagonals", "SW-NE", "must be a list"),
    ("/diagonals/0", ["SW"], "At least 2"),
    ("/diagonals/0", ["SW", "NE", "SE"], "At most 2"),
    ("/diagonals/0/1", "XX", "no corner XX"),
    ("/diagonals/1", ["NE", "SW"], "twice"),
    # details
    ("/details/P/reference", "flange", "centreline, web"),
    ("/details/P/plate/hole_diameter", 0, "greater than zero"),
    ("/details/P/plate/thickness", '-1/2"', "greater than zero"),
    ("/details/P/rods", [], "At least 1"),
    ("/details/P/rods/0/diameter", 0, "greater than zero"),
    ("/details/P/rods/0/projection", '-3"', "greater than zero"),
    ("/details/P/rods/0/in", '4 9/8"', "not less than 1"),
    ("/details/ ", {"reference": "web", "rods": [ROD]}, "cannot be empty"),
    # positions
    ("/positions/0/detail", "Q", "no detail Q; the details are P"),
    ("/positions/1/mark", "S1", "taken"),
    ("/positions/0/wall", "SE-SW", "SW-SE, SE-NE, NE-NW, NW-SW"),
    ("/positions/0/along", "90'-1/8\"", "past the end"),
    ("/positions/0/along", '-1/8"', "cannot be less than zero"),
    ("/positions/1/turn", 90, "90 deg"),
    ("/positions/1/turn", "90 in", "not a unit"),
    # the rest
    ("/notch/width", 0, "greater than zero"),
    ("/tolerances/basis", "house rules", "metal-building-practice"),
    ("/tolerances/guarded", "yes", "true or false"),
    ("/tolerances/overrides/lines", 1, "rod_location"),
    ("/tolerances/overrides/line", 0, "greater than zero"),
    ("/tolerances/overrides/shim_up_to", -1, "less than zero"),
    ("/tolerances/overrides/plumb", '1/8"', "1/500"),
    ("/tolerances/overrides/plumb", "1/0", "1/500"),
    ("/tolerances/overrides/plumb", 0, "1/500"),
    ("/tolerances/overrides/plumb", True, "1/500"),
    ("/tolerances/overrides/strength_ratio", 75, "1/500"),
    ("/tolerances/overrides/strength_ratio", float("nan"), "1/500"),
    ("/tolerances/overrides/column_turn", 0.5, "90 deg"),
    ("/tolerances/overrides/column_turn", "0.5", "90 deg"),
    ("/tolerances/overrides/column_turn", '1/8"', "one number and its unit"),
    ("/tolerances/overrides/column_turn", "0 deg", "greater than zero"),
    ("/tolerances/overrides/column_turn", "0.5 rad", "at most 10 deg"),
    ("/shim_thicknesses/2", "1/8 in", "twice"),
    ("/shim_thicknesses/2", 0, "greater than zero"),
    ("/concrete/specified_strength", 3500, "3000 psi"),
    ("/concrete/specified_strength", "0 psi", "greater than zero"),
    ("/concrete/sufficient_strength", "20 mm", "not a unit"),
    ("/concrete/placed_on", "7 April", "2026-03-02"),
    ("/concrete/placed_on", "2026-02-30", "2026-03-02"),
    ("/instruments/T1/class", "IV", "I, II, III"),
    ("/instruments/T1/actual_length", "90'", "typing error"),
    ("/instruments/T1/standard_tension", "-5 N", "greater than zero"),
    ("/instruments/T1/standard_temperature", "20", "41 degF"),
    ("/instruments/T1/brand", "x", "Unknown field “brand”"),
    ("/instruments/T1/kind", None, "must be text"),
]


@pytest.mark.parametrize(("pointer", "value", "hint"), REFUSED)
def test_a_refusal_stands_at_its_pointer_and_says_what_would_be_right(
    pointer, value, hint
):
    document = changed(pointer, value)
    document.pop("readings")
    refused = refusals(document)
    assert list(refused) == [pointer]
    assert hint in refused[pointer]


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("", "format"),
        ("", "name"),
        ("", "length_unit"),
        ("", "outline"),
        ("/outline/0", "corner"),
        ("/outline/0", "y"),
        ("/notch", "depth"),
        ("/details/P", "reference"),
        ("/details/P", "rods"),
        ("/details/P/plate", "hole_diameter"),
        ("/details/P/rods/0", "in"),
        ("/details/P/rods/0", "diameter"),
        ("/positions/0", "mark"),
        ("/positions/0", "detail"),
        ("/instruments/T1", "kind"),
    ],
)
def test_a_missing_member_is_named(path, name):
    document = example()
    del document["readings"]
    at = document
    for step in path.split("/")[1:]:
        at = at[int(step)] if isinstance(at, list) else at[step]
    del at[name]
    refused = refusals(document)
    assert f"“{name}” is missing" in refused[path]


@pytest.mark.parametrize("document", [None, [], "text", 7, True])
def test_what_is_no_object_is_no_document(document):
    assert "must be an object" in refusals(document)[""]


def test_a_corner_shared_by_a_wall_makes_no_diagonal():
    document = changed("/diagonals/0", ["SW", "SE"])
    assert "share no wall" in refusals(document)["/diagonals/0"]
    assert (
        "share no wall"
        in refusals(changed("/diagonals/0", ["SW", "SW"]))["/diagonals/0"]
    )


def test_two_rods_cannot_stand_in_one_place():
    refused = refusals(changed("/details/P/rods/1/along", '-2 1/2"'))
    assert "at the same point as rod 1" in refused["/details/P/rods/1"]


@pytest.mark.parametrize(
    "members",
    [
        {"mark": "X", "detail": "P"},
        {"mark": "X", "detail": "P", "wall": "SW-SE"},
        {"mark": "X", "detail": "P", "along": 5},
        {"mark": "X", "detail": "P", "x": 5, "y": 5},
        {"mark": "X", "detail": "P", "x": 5, "turn": "0 deg"},
        {"mark": "X", "detail": "P", "wall": "SW-SE", "along": 5, "x": 5},
        {
            **{"mark": "X", "detail": "P", "wall": "SW-SE", "along": 5},
            **{"x": 5, "y": 5, "turn": "0 deg"},
        },
    ],
)
def test_a_position_stands_on_a_wall_or_at_a_point(members):
    refused = refusals(changed("/positions/0", members) | {"readings": []})
    assert "either on a wall" in refused["/positions/0"]


def test_a_position_may_stand_at_either_end_of_its_wall():
    for along in (0, "90'"):
        document = changed("/positions/0/along", along)
        document["readings"] = []
        assert refusals(document) == {}


def test_a_pointer_escapes_what_rfc_6901_says():
    assert list(refusals(example() | {"a/b~c": 1})) == ["/a~1b~0c"]


def test_all_errors_come_at_once():
    document = example()
    document["length_unit"] = "yd"
    document["outline"][0]["x"] = "12"
    document["positions"][0]["detail"] = "Q"
    document["notch"] = {"width": "1 in"}
    document["readings"][1]["check"] = "wal:SW-SE"
    document["readings"][2]["value"] = "?"
    assert set(refusals(document)) == {
        "/length_unit",
        "/outline/0/x",
        "/positions/0/detail",
        "/notch",
        "/readings/1/check",
        "/readings/2/value",
    }


def test_a_missing_unit_is_the_only_error_of_bare_numbers():
    document = example()
    del document["length_unit"]
    document["outline"] = [
        {"corner": name, "x": x, "y": y}
        for name, x, y in (("SW", 0, 0), ("SE", 1080, 0), ("NE", 1080, 576))
    ]
    document["diagonals"] = []
    document["positions"] = document["positions"][1:]
    document["details"]["P"]["rods"] = [
        {"in": inward, "along": 2, "diameter": 1} for inward in (8, 13)
    ]
    document["readings"] = []
    assert list(refusals(document)) == [""]


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/shim_thicknesses/0", "thin"),
        ("/tolerances/basis", "none"),
        ("/notch/width", 0),
        ("/concrete/specified_strength", "hard"),
        ("/instruments/T1/class", "IV"),
        ("/details/P/plate/hole_diameter", 0),
        ("/details/P/rods/1/diameter", 0),
        ("/positions/1/turn", "90"),
        ("/outline/1/x", "90"),
        ("/length_unit", "yd"),
    ],
)
def test_an_error_in_the_plan_hides_none_in_the_readings(pointer, value):
    document = changed(pointer, value)
    wrong = {
        "/readings/2/check": "setback:K7.5",
        "/readings/4/check": "gage:K9.1-2",
        "/readings/5/instrument": "L2",
        "/readings/6/check": "benchmark:",
        "/readings/8/check": "plumb:S1.up",
    }
    for place, text in wrong.items():
        _, _, index, member = place.split("/")
        document["readings"][int(index)][member] = text
    assert set(refusals(document)) == {pointer, *wrong}


def test_a_wrong_corner_hides_no_wrong_wall_and_no_wrong_diagonal():
    document = changed("/outline/1/x", "90")
    document["diagonals"][0][1] = "NX"
    document["positions"][0]["wall"] = "SW-SW"
    document["readings"] = []
    errors = refusals(document)
    assert set(errors) == {"/outline/1/x", "/diagonals/0/1", "/positions/0/wall"}
    assert "SW, SE, NE, NW" in errors["/positions/0/wall"]


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/outline/1/x", "90"),
        ("/outline/1/corner", "SW"),
        ("/outline/2", None),
        ("/details", []),
        ("/details/P/rods", []),
        ("/details/P/rods/0", 4),
        ("/details/P/rods/3/in", "?"),
        ("/positions", {}),
        ("/positions/0/mark", ""),
        ("/positions/0/along", "?"),
        ("/positions/0/wall", 4),
        ("/notch", "?"),
        ("/instruments", []),
        ("/instruments/T1/class", "IV"),
    ],
)
def test_what_hangs_on_something_refused_is_not_refused_after_it(pointer, value):
    told = [p for p in refusals(changed(pointer, value)) if not p.startswith(pointer)]
    assert [p for p in told if p.startswith("/readings")] == []
    assert (
        len(told) <= 2
    )  # each of two positions still names a detail that is not there


def test_the_document_is_not_changed_by_reading_it():
    document = example()
    before = copy.deepcopy(document)
    parse_building(document)
    assert document == before


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
def test_the_unit_a_plan_is_written_in_changes_nothing(unit):
    def rewrite(value):
        if isinstance(value, dict):
            return {k: v if k == "readings" else rewrite(v) for k, v in value.items()}
        if isinstance(value, list):
            return [rewrite(each) for each in value]
        try:
            mm = parse_length(value, "in").mm
        except ValueError:
            return value
        per = parse_length(1, unit).mm
        return float(mm / per)

    document = example()
    del document["readings"]
    names = ("tolerances", "shim_thicknesses")
    other = {
        key: value if key in names else rewrite(value)
        for key, value in document.items()
    }
    other["length_unit"] = unit
    one, two = parse_building(document).plan, parse_building(other).plan
    assert two.length_unit == unit
    for name in ("outline", "details", "positions", "notch", "instruments"):
        assert getattr(one, name) == getattr(two, name)
