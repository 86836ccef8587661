"""How often a likely cause is right, on simulated crews; see `tests.bench.causes`.

The floors lie below what 300 buildings per mistake gave by what chance may take from
the few simulated here: three standard deviations of a share and more.
"""

import pytest

from checks.demo.mistakes import MISTAKES, CrewMistake
from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests.bench.causes import count_accusations, measure_rates
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
def test_a_mistake_is_named_as_often_as_measured(mistake: CrewMistake):
    assert measure_rates(mistake, EACH)["right"] >= FLOORS[mistake.name]


def test_honest_crews_are_hardly_ever_accused():
    against = count_accusations(HONEST, first_seed=20_000_000)
    assert sum(against.values()) <= ACCUSED_AT_MOST * HONEST, against


def _causes(document: dict) -> set[str]:
    result = evaluate(parse_building(document))
    found = [finding["likely_cause"] for finding in result["findings"]]
    return {cause["cause"] for cause in found if cause}


@pytest.mark.parametrize("mm", [9.525, 11.1125, 25.4, 34.925, 38.1])
def test_one_pattern_set_wrong_in_the_forms_accuses_nobody(mm: float):
    document = read_perfectly(plan())
    for rod in (1, 2, 3, 4):
        off_by(document, f"setback:A2.{rod}", mm)
    assert evaluate(parse_building(document))["findings"]
    assert _causes(document) == set()


@pytest.mark.parametrize("mm", [-25.4, 25.4])
def test_one_line_off_by_an_inch_is_asked_about_with_both_answers_open(mm: float):
    document = read_perfectly(plan())
    off_by(document, "line:A2", mm)
    found = evaluate(parse_building(document))["findings"]
    cause = next(f["likely_cause"] for f in found if f["finding"] == "position:A2")
    assert cause["cause"] == "misread"
    assert "misread, or A2 stands an inch off" in cause["explanation"]


def test_one_line_off_by_no_round_amount_accuses_nobody():
    document = read_perfectly(plan())
    off_by(document, "line:A2", 38.1)
    assert _causes(document) == set()


def test_a_rod_short_by_an_inch_accuses_nobody():
    document = read_perfectly(plan())
    off_by(document, "projection:A2.1", -25.4)
    assert evaluate(parse_building(document))["findings"]
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


def _again(document: dict, check: str, value: str, **members: object) -> None:
    """Read a check once more."""
    more = {"id": f"again-{len(document['readings'])}", "value": value, **members}
    document["readings"].append(reading_of(document, check) | more)


def test_a_foot_misread_from_the_far_corner_is_told_from_its_repeats():
    document = read_perfectly(plan())
    _again(document, "line:A1", "73'", **{"from": "SE"})  # 96 less 24 is 72
    assert _causes(document) == {"misread"}


def test_a_reading_from_the_far_corner_is_not_held_against_the_near_one():
    # 42 ft is a foot over what it is from the near corner of a line at 41 ft, and
    # twelve feet short of what it is from the far one
    document = plan()
    document["positions"][0]["along"] = "41'"
    document = read_perfectly(document)
    _again(document, "line:A1", "42'", **{"from": "SE"})
    assert _causes(document) == set()


def test_a_foot_misread_up_a_slope_is_told_from_its_repeats():
    document = read_perfectly(plan())
    up = {"slope_rise": "4'"}
    flat = 24.0 * 304.8
    reading_of(document, "line:A1").update(
        value=f"{(flat**2 + (4 * 304.8) ** 2) ** 0.5:.6f} mm", **up
    )
    misread = ((flat + 304.8) ** 2 + (4 * 304.8) ** 2) ** 0.5
    _again(document, "line:A1", f"{misread:.6f} mm")
    assert _causes(document) == {"misread"}


def _outlined(metres: tuple[float, float], notch: str = "1 1/2 in") -> dict:
    """A plain rectangle, nothing on it."""
    long, wide = metres
    corners = (("A", 0, 0), ("B", long, 0), ("C", long, wide), ("D", 0, wide))
    return {
        "format": "padstone.building/1",
        "name": "Rectangle",
        "length_unit": "m",
        "outline": [{"corner": c, "x": x, "y": y} for c, x, y in corners],
        "notch": {"width": notch, "depth": notch},
        "readings": [],
    }


def _lengths(document: dict, **mm: float) -> dict:
    """Walls and diagonals, AB to BD, of these many millimetres."""
    walls = ("AB", "BC", "CD", "DA")
    document["readings"] = [
        {
            "check": f"{'wall' if pair in walls else 'diagonal'}:{pair[0]}-{pair[1]}",
            "value": f"{value:.3f} mm",
        }
        for pair, value in mm.items()
    ]
    return document


def test_a_line_near_the_middle_of_its_wall_is_not_read_from_the_other_corner():
    document = plan()
    document["positions"][0]["along"] = "47' 11 7/8\""  # 48 ft is the middle
    document = read_perfectly(document)
    off_by(document, "line:A1", 7.0)
    assert evaluate(parse_building(document))["findings"]
    assert _causes(document) == set()


def test_half_a_metre_over_a_kilometre_is_not_a_foot_misread():
    document = _lengths(_outlined((800, 600)), AC=1_000_550)
    assert evaluate(parse_building(document))["findings"]
    assert _causes(document) == set()
    assert _causes(_lengths(document, AC=1_000_000 + 460)) == set()


def test_an_outline_long_by_both_notches_was_measured_out_to_out():
    long, wide = 24000 + 76.2, 16000 + 76.2  # 2 x 1 1/2 in
    across = (long**2 + wide**2) ** 0.5
    document = _lengths(
        _outlined((24, 16)), AB=long, BC=wide, CD=long, DA=wide, AC=across, BD=across
    )
    result = evaluate(parse_building(document))
    for found in result["findings"]:
        assert found["likely_cause"]["cause"] == "outer_edge"
        assert found["remedies"][0]["remedy"] == "remeasure"


def test_two_long_walls_among_good_lengths_are_not_out_to_out():
    across = (24000**2 + 16000**2) ** 0.5
    document = _lengths(
        _outlined((24, 16)),
        **{"AB": 24076.2, "BC": 16000, "CD": 24076.2, "DA": 16000},
        **{"AC": across, "BD": across},
    )
    assert _causes(document) == set()


@pytest.mark.parametrize(
    ("notch", "limit", "off"),
    [("3 mm", "1/8 in", (6.0, 5.5, 6.0)), ('1 1/2"', "60 mm", (75.0, 70.0, 66.0))],
)
def test_lines_far_off_the_notch_are_not_taken_for_the_outer_edge(
    notch: str, limit: str, off: tuple[float, float, float]
):
    document = plan()
    document["notch"]["width"] = notch
    document["tolerances"]["overrides"] = {"line": limit}
    document = read_perfectly(document)
    for mark, mm in zip(("A1", "A2", "A3"), off, strict=True):
        off_by(document, f"line:{mark}", mm)
    assert evaluate(parse_building(document))["findings"]
    assert _causes(document) == set()


def test_lines_at_the_1_ft_mark_are_counted_where_others_are_not():
    document = read_perfectly(plan())
    off_by(document, "line:A1", 304.8)
    off_by(document, "line:A3", 304.8)
    (said,) = {
        finding["likely_cause"]["explanation"]
        for finding in evaluate(parse_building(document))["findings"]
    }
    assert said.startswith("2 lines of wall SW-SE are a foot long")


def test_a_setback_exchanged_with_an_offset_to_the_other_side_is_found():
    document = read_perfectly(plan())
    reading_of(document, "setback:A2.1")["value"] = '2 1/4"'
    reading_of(document, "offset:A2.1")["value"] = '-6"'
    assert _causes(document) == {"exchanged"}


def test_two_diagonals_of_a_skewed_outline_are_told_as_exchanged():
    skewed = plan()
    for corner in skewed["outline"][2:]:
        corner["x"] = "100'" if corner["corner"] == "NE" else "4'"
    document = read_perfectly(skewed)
    _swap(document, "diagonal:SW-NE", "diagonal:SE-NW")
    assert "exchanged" in _causes(document)


def test_a_hint_changes_no_number():
    honest, spoilt = read_perfectly(plan()), read_perfectly(plan())
    off_by(spoilt, "setback:A2.1", 25.4)
    before = {c["check"]: c for c in evaluate(parse_building(honest))["checks"]}
    after = {c["check"]: c for c in evaluate(parse_building(spoilt))["checks"]}
    one = after["setback:A2.1"]
    assert one["observed"] - before["setback:A2.1"]["observed"] == pytest.approx(25.4)
    assert one["verdict"] == "outside"
    others = set(after) - {"setback:A2.1"}
    assert all(after[key] == before[key] for key in others)


def _swap(document, *checks: str) -> None:
    first, second = (reading_of(document, check) for check in checks)
    first["value"], second["value"] = second["value"], first["value"]


def test_rods_numbered_another_way_round_are_told_of_all_at_once():
    document = read_perfectly(plan())
    for kind in ("setback", "offset"):
        _swap(document, f"{kind}:A2.1", f"{kind}:A2.4")
    (finding,) = evaluate(parse_building(document))["findings"]
    cause = finding["likely_cause"]
    assert cause["cause"] == "exchanged"
    assert set(cause["checks"]) == {
        f"{kind}:A2.{rod}" for kind in ("setback", "offset") for rod in (1, 4)
    }
    assert "rod 1 where rod 4 is" in cause["explanation"]
    assert finding["remedies"][0]["remedy"] == "remeasure"


def test_rods_numbered_round_from_another_corner_are_exchanged():
    document = read_perfectly(plan())
    for kind in ("setback", "offset"):
        values = [reading_of(document, f"{kind}:A2.{i}")["value"] for i in (2, 4, 1, 3)]
        for rod, value in enumerate(values, 1):
            reading_of(document, f"{kind}:A2.{rod}")["value"] = value
    assert _causes(document) == {"exchanged"}


def test_one_pair_exchanged_names_its_two_readings_alone():
    document = read_perfectly(plan())
    _swap(document, "offset:A2.1", "offset:A2.2")
    (finding,) = evaluate(parse_building(document))["findings"]
    assert finding["likely_cause"]["checks"] == ["offset:A2.1", "offset:A2.2"]


def test_an_offset_that_lost_its_sign_is_measured_again_not_cut_off():
    document = read_perfectly(plan())
    for rod in (1, 3):
        reading_of(document, f"offset:A2.{rod}")["value"] = '2 1/4"'
    (finding,) = evaluate(parse_building(document))["findings"]
    assert finding["likely_cause"]["cause"] == "wrong_side"
    assert finding["likely_cause"]["checks"] == ["offset:A2.1", "offset:A2.3"]
    assert finding["remedies"][0]["remedy"] == "remeasure"


def test_a_line_read_from_the_other_corner_is_told():
    document = read_perfectly(plan())
    reading_of(document, "line:A1")["value"] = "72'"
    assert _causes(document) == {"other_corner"}
    reading_of(document, "line:A1")["from"] = "SE"
    assert _causes(document) == set()
