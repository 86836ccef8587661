"""From readings to an observed value: corrections, repeats, uncertainty, verdict.

Expectations are the formulae of the documents written down again, each with its
source; probabilities are SciPy's.
"""

import math

import pytest
from scipy.stats import norm

from checks.evaluation.verdict_reasons import GUARDED_REASON
from tests.published.contract import (
    FOOT,
    INCH,
    LENGTH,
    Document,
    building,
    check,
    evaluate_document,
    finding,
    read,
    tape_class,
    topics,
)

ALPHA = 11.6e-6  # per degree C: published-facts 6.1
ROOT3, ROOT12 = math.sqrt(3), math.sqrt(12)


def wall(document: Document) -> Document:
    return check(evaluate_document(document), "wall:A-B")


# ---- tape corrections --------------------------------------------------------------


def test_without_data_nothing_is_corrected() -> None:
    assert wall(read(building(), "wall:A-B", "23.998 m"))["observed"] == 23998


def test_temperature_is_corrected_from_20_degrees() -> None:
    # alpha L (T - T0); 41 degF is 5 degC
    found = wall(read(building(), "wall:A-B", "24 m", temperature="41 degF"))
    assert found["correction"] == pytest.approx(ALPHA * 24000 * -15, abs=1e-9)
    assert found["observed"] == pytest.approx(24000 - 4.176, abs=1e-9)


def test_temperature_is_corrected_from_the_instruments_own() -> None:
    document = building()
    document["instruments"]["T"]["standard_temperature"] = "68 degF"
    read(document, "wall:A-B", "24 m", instrument="T", temperature="30 degC")
    assert wall(document)["correction"] == pytest.approx(ALPHA * 24000 * 10, abs=1e-9)


def test_a_tape_that_is_too_long_reads_short() -> None:
    # C_L = (l - l') / l' L, example a7: 500 ft with a 100.02 ft tape is 500.10
    document = building()
    document["instruments"]["T"] |= {
        "nominal_length": "100 ft",
        "actual_length": "100.02 ft",
    }
    read(document, "wall:A-B", "500 ft", instrument="T")
    assert wall(document)["observed"] == pytest.approx(500.10 * FOOT, abs=1e-9)


def test_pull_and_sag_are_corrected_as_published() -> None:
    # tape maker's page, b2 and b3: +3.471 mm and -7.316 mm over 36 m
    document = building()
    document["instruments"]["T"] |= {
        "standard_tension": "50 N",
        "cross_section": "2.52 mm^2",
        "elastic_modulus": "205800 N/mm^2",
        "weight": "0.194 N/m",
    }
    read(document, "wall:A-B", "36 m", instrument="T", tension="100 N", span="36 m")
    pull = 50 * 36000 / (2.52 * 205800)
    sag = -(0.194**2) * 36**3 / (24 * 100**2) * 1000
    assert wall(document)["correction"] == pytest.approx(pull + sag, abs=1e-6)
    assert pull + sag == pytest.approx(3.471 - 7.316, abs=1e-3)


def test_supported_throughout_unless_said_there_is_no_sag() -> None:
    document = building()
    document["instruments"]["T"]["weight"] = "0.194 N/m"
    read(document, "wall:A-B", "24 m", instrument="T", tension="100 N")
    assert wall(document)["correction"] == 0


def test_the_slope_is_exact() -> None:
    # example a6: s = 300 ft, v = 26.15 ft gives 298.86; by Pythagoras
    found = wall(read(building(), "wall:A-B", "300 ft", slope_rise="26.15 ft"))
    assert found["observed"] == pytest.approx(
        math.sqrt(300**2 - 26.15**2) * FOOT, abs=1e-9
    )
    assert found["observed"] / FOOT == pytest.approx(298.86, abs=5e-3)


def test_an_offset_to_the_left_is_corrected_in_size() -> None:
    document = building()
    document["details"]["Q"]["rods"][0]["along"] = "-2 m"
    read(document, "offset:S.1", "-2 m", temperature="30 degC")
    offset = check(evaluate_document(document), "offset:S.1")
    assert offset["observed"] == pytest.approx(-2000 * (1 + ALPHA * 10), abs=1e-9)


@pytest.mark.parametrize("tension", ["0.1 N", "0.6928 N"])
@pytest.mark.parametrize("rise", [None, "1 m"])
def test_a_sag_beyond_the_tape_itself_is_measured_again(
    tension: str, rise: str | None
) -> None:
    document = building()
    document["instruments"]["T"]["weight"] = "0.2 N/m"
    more = {} if rise is None else {"slope_rise": rise}
    read(document, "wall:A-B", "24 m", instrument="T", tension=tension, span="24 m",
         **more)  # fmt: skip
    found = wall(document)
    assert found["verdict"] == "remeasure"
    assert "cannot be right" in found["reason"]
    assert found["observed"] == 24000


@pytest.mark.parametrize(
    ("kind", "grows"), [("tape", True), ("fibreglass tape", False), ("laser", False)]
)
def test_a_tape_is_of_steel_unless_it_says_otherwise(kind: str, grows: bool) -> None:
    document = building()
    document["instruments"]["T"]["kind"] = kind
    read(document, "wall:A-B", "24 m", instrument="T", temperature="-10 degC")
    assert wall(document)["correction"] == pytest.approx(
        ALPHA * 24000 * -30 * grows, abs=1e-9
    )


def test_no_rise_over_no_length_is_not_impossible() -> None:
    document = building()
    document["details"]["Q"]["rods"][0]["along"] = "0 mm"
    read(document, "offset:S.1", "0 mm", slope_rise="0 mm")
    assert check(evaluate_document(document), "offset:S.1")["verdict"] == "within"


# ---- repeats -----------------------------------------------------------------------


def test_repeats_are_averaged_and_the_superseded_left_out() -> None:
    document = building()
    read(document, "wall:A-B", "25 m", id="wrong")
    read(document, "wall:A-B", "24.002 m", id="a")
    read(document, "wall:A-B", "24.004 m", id="b", supersedes="wrong")
    found = wall(document)
    assert (found["readings"], found["observed"]) == (2, pytest.approx(24003))


def test_what_supersedes_may_be_superseded() -> None:
    document = building()
    read(document, "wall:A-B", "25 m", id="a")
    read(document, "wall:A-B", "26 m", id="b", supersedes="a")
    read(document, "wall:A-B", "24 m", id="c", supersedes="b")
    assert (wall(document)["readings"], wall(document)["observed"]) == (1, 24000)


def handling(length: float) -> float:
    """Pull, mark and plumb bob: min(0.5 + 0.1 L, 1.5), project choice. [mm]"""
    return min(0.5 + 0.1 * abs(length) / 1000, 1.5)


def spread_limit(*values: float, resolution: float, tapes: int) -> float:
    """Expanded uncertainty (k = 2) of the difference of two readings. [mm]

    One tape has its class in common, which cancels but for the rounded metres.
    """
    own = [math.hypot(handling(each), resolution / ROOT12) for each in values]
    classes = [tape_class(value) for value in values]
    shared = [classes[0] - classes[1]] if tapes == 1 else classes
    return 2 * math.hypot(*own, *shared)


@pytest.mark.parametrize("tapes", [1, 2])
@pytest.mark.parametrize(("beyond", "word"), [(-0.01, "within"), (0.01, "remeasure")])
def test_repeats_further_apart_than_the_instrument_explains(
    beyond: float, word: str, tapes: int
) -> None:
    apart = spread_limit(24000, 24004, resolution=0.001, tapes=tapes) + beyond
    document = building()
    document["instruments"]["T9"] = {"kind": "steel tape", "class": "II"}
    other = {} if tapes == 1 else {"instrument": "T9"}
    read(document, "wall:A-B", "24000.000 mm", temperature="20 degC")
    text = f"{24000 + apart:.3f} mm"
    read(document, "wall:A-B", text, temperature="20 degC", **other)
    result = evaluate_document(document)
    assert check(result, "wall:A-B")["verdict"] == word
    assert topics(result) == (["wall:A-B"] if word == "remeasure" else [])
    reason = check(result, "wall:A-B")["reason"]
    assert (reason is None) == (word == "within")
    if word == "remeasure":
        (remedy,) = finding(result, "wall:A-B")["remedies"]
        assert (remedy["remedy"], remedy["reason"]) == ("remeasure", reason)
        # contradicting readings have no observed value: their mean means nothing
        found = check(result, "wall:A-B")
        assert (found["observed"], found["deviation"]) == (None, None)


def test_disagreeing_repeats_of_a_pad_are_measured_again() -> None:
    # 1.0 mm at 30 m, assumed here: a difference is good to 2 sqrt(2) 1.0 = 2.83 mm
    document = read(building(), "level:S", 1400.0)
    read(document, "level:E", 1400.0)
    read(document, "level:S", 1402.5)
    assert check(evaluate_document(document), "level:S")["verdict"] == "within"
    read(document, "level:S", 1403.5)
    result = evaluate_document(document)
    assert check(result, "level:S")["verdict"] == "remeasure"
    assert result["findings"][0]["remedies"][0]["remedy"] == "remeasure"


# ---- uncertainty ---------------------------------------------------------------


@pytest.mark.parametrize("accuracy_class", ["I", "II", "III"])
@pytest.mark.parametrize("length", [23000.0, 23000.001, 24000.0])
def test_uncertainty_is_class_resolution_and_handling_in_quadrature(
    accuracy_class: str, length: float
) -> None:
    document = building()
    document["instruments"]["T"]["class"] = accuracy_class
    text = f"{length:.3f} mm"
    read(document, "wall:A-B", text, instrument="T", temperature="20 degC")
    want = math.hypot(
        tape_class(length, accuracy_class), 0.001 / ROOT12, handling(length)
    )
    assert wall(document)["uncertainty"] == pytest.approx(want, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "resolution"),
    [
        ("78' 8 7/8\"", INCH / 8),
        ("78' 8 13/16\"", INCH / 16),
        ("78' 8 57/64\"", INCH / 64),
        ("78.74 ft", FOOT / 100),
        ("24.0 m", 100.0),
        ("24.001 m", 1.0),
        ("24001.5 mm", 0.1),
    ],
)
def test_resolution_is_the_last_fraction_or_decimal_typed(
    text: str, resolution: float
) -> None:
    # never taken coarser than 1/8 in: half an inch off a tape is so many sixteenths
    found = wall(read(building(), "wall:A-B", text, temperature="20 degC"))
    read_to = min(resolution, INCH / 8)
    want = math.hypot(tape_class(found["observed"]), read_to / ROOT12, 1.5)
    assert found["uncertainty"] == pytest.approx(want, rel=1e-6)


def test_an_unknown_temperature_is_ten_degrees_rectangular() -> None:
    found = wall(read(building(), "wall:A-B", "24000 mm"))
    parts = (tape_class(24000), 1 / ROOT12, ALPHA * 10 * 24000 / ROOT3, 1.5)
    assert found["uncertainty"] == pytest.approx(math.hypot(*parts), rel=1e-9)


HEAT = ALPHA * 10 * 24000 / ROOT3  # of an unknown temperature over 24 m


@pytest.mark.parametrize(
    ("tapes", "days", "shared"),
    [
        (1, 1, (tape_class(24000), HEAT)),
        (2, 1, (tape_class(24000) / math.sqrt(2), HEAT)),
        (1, 2, (tape_class(24000), HEAT / math.sqrt(2))),
        (2, 2, (tape_class(24000) / math.sqrt(2), HEAT / math.sqrt(2))),
    ],
)
def test_repeats_average_what_no_tape_and_no_day_has_in_common(
    tapes: int, days: int, shared: tuple[float, float]
) -> None:
    # one unknown a tape, the same on every day; one a day for all steel tapes
    document = building()
    for name in ("T8", "T9"):
        document["instruments"][name] = {"kind": "steel tape", "class": "II"}
    for i in range(4):
        at = f"2026-03-{9 + i % days:02d}T14:05:00Z"
        tape = "T9" if tapes == 2 and i in (0, 3) else "T8"
        # with two of each, every day has both tapes
        if tapes == 2 and days == 2:
            at = f"2026-03-{9 + i // 2:02d}T14:05:00Z"
        read(document, "wall:A-B", "24000 mm", at=at, instrument=tape)
    own = math.hypot(1 / ROOT12, 1.5) / math.sqrt(4)
    want = math.hypot(own, *shared)
    assert wall(document)["uncertainty"] == pytest.approx(want, rel=1e-9)


def test_a_level_is_known_in_proportion_to_its_sight() -> None:
    document = building()
    read(document, "level:S", 1400.0, sight="15 m")
    read(document, "level:E", 1420.0, sight="45 m")  # surely the lower one
    # 1.0 mm at 30 m: 0.5 and 1.5 mm; resolution 1 mm each; from the highest pad
    want = math.hypot(0.5, 1.5, 1 / ROOT12, 1 / ROOT12)
    assert check(evaluate_document(document), "level:E")[
        "uncertainty"
    ] == pytest.approx(want, abs=1e-3)


# ---- verdict -------------------------------------------------------------------


@pytest.mark.parametrize("deviation", [-12.0, -10.0, -3.0, 0.0, 9.5, 10.5, 14.0])
def test_probability_is_that_of_jcgm_106(deviation: float) -> None:
    # JCGM 106:2012 7.2, here by scipy.stats; limit 1/4 in per 50 ft
    value = f"{LENGTH + deviation} mm"
    found = wall(read(building(), "wall:A-B", value, temperature="20 degC"))
    limit, sigma = LENGTH * 6.35 / 15240, found["uncertainty"]
    want = norm.cdf((limit - deviation) / sigma) - norm.cdf(
        (-limit - deviation) / sigma
    )
    assert found["limit"] == pytest.approx(limit)
    assert found["probability"] == pytest.approx(want, abs=1e-12)
    # Another tape of the same class is as good as the first: it takes the chance P of a
    # wrong verdict to P (1 - P), by Owen's T(h, 1) = Phi(h) Phi(-h) / 2.
    wrong = norm.cdf(-abs(abs(deviation) - limit) / sigma)
    assert found["close_to_limit"] == (wrong**2 >= 0.05)
    if found["close_to_limit"]:
        assert found["second_reading"]["kind"] == "other_tape"
        assert found["second_reading"]["before"] == pytest.approx(wrong)
        assert found["second_reading"]["after"] == pytest.approx(wrong * (1 - wrong))
    assert found["verdict"] == ("within" if abs(deviation) <= limit else "outside")


@pytest.mark.parametrize(
    ("guarded", "deviation", "word"),
    [(False, 2.9, "within"), (True, 2.1, "outside"), (True, 1.9, "within")],
)
def test_guarded_acceptance_takes_the_expanded_uncertainty_off_the_limit(
    guarded: bool, deviation: float, word: str
) -> None:
    # 150 mm with a class II tape: u = hypot(0.5 / sqrt(3), 0.515) = 0.59 mm, so
    # 3.175 - 1.18 remains
    document = building(tolerances={"guarded": guarded})
    value = f"{150 + deviation:.2f} mm"
    read(document, "setback:S.1", value, temperature="20 degC")
    read(document, "offset:S.1", "-60.00 mm", temperature="20 degC")
    result = evaluate_document(document)
    setback = check(result, "setback:S.1")
    want = math.hypot(0.5 / ROOT3, handling(150))
    assert setback["uncertainty"] == pytest.approx(want, abs=1e-3)
    assert setback["verdict"] == word
    assert result["positions"][0]["rods"][0]["verdict"] == word
    assert bool(result["findings"]) == (word == "outside")


def test_guarded_acceptance_holds_for_the_diagonals_difference() -> None:
    document = building(tolerances={"guarded": True})
    read(document, "diagonal:A-C", "28310.5 mm", temperature="20 degC")
    read(document, "diagonal:B-D", "28300.0 mm", temperature="20 degC")
    square = evaluate_document(document)["squareness"]
    assert square["difference"] < square["limit"]  # 10.5 < 11.79, guarded by 2 u
    assert square["verdict"] == "outside"


@pytest.mark.parametrize(("deviation", "first"), [(0.0, True), (40.0, False)])
def test_what_is_outside_by_its_uncertainty_alone_is_measured_again(
    deviation: float, first: bool
) -> None:
    # class II over 8 m, no temperature: 2 u is 2.4 mm and more of 3.175 mm
    document = building(tolerances={"guarded": True})
    read(document, "line:S", f"{8000 + 2.0 + deviation} mm")
    result = evaluate_document(document)
    assert check(result, "line:S")["verdict"] == "outside"
    reasons = [each["reason"] for each in finding(result, "position:S")["remedies"]]
    assert ("as guarded acceptance requires" in reasons[0]) == first
    said = check(result, "line:S")["reason"]
    assert said == (GUARDED_REASON if first else None)


def test_diagonals_apart_by_their_uncertainty_alone_are_measured_again() -> None:
    document = building(tolerances={"guarded": True})
    read(document, "diagonal:A-C", "28310.5 mm", temperature="20 degC")
    read(document, "diagonal:B-D", "28300.0 mm", temperature="20 degC")
    remedies = finding(evaluate_document(document), "squareness")["remedies"]
    assert remedies[0]["remedy"] == "remeasure"
    assert "as guarded acceptance requires" in remedies[0]["reason"]


def test_guarded_acceptance_leaves_strengths_alone() -> None:
    document = building(tolerances={"guarded": True})
    result = evaluate_document(read(document, "strength:F1", "20 MPa"))
    assert check(result, "strength:F1")["verdict"] == "within"
    assert result["concrete"]["verdict"] == "within"


LIMITS = {  # 150 mm planned, 1/8 in allowed: 153.175 and 146.825
    "within": [
        "153.175 mm",
        "15.3175 cm",
        "0.153175 m",
        "6.03051181102362 in",
        "0.50254265091864 ft",
        "146.825 mm",
        "5.78051181102362 in",
    ],
    "outside": ["153.17501 mm", "6.030513 in", "0.502544 ft", "146.82499 mm"],
}


@pytest.mark.parametrize(
    ("text", "word"),
    [(text, word) for word, texts in LIMITS.items() for text in texts],
)
def test_the_limit_is_within_whatever_unit_it_was_typed_in(
    text: str, word: str
) -> None:
    result = evaluate_document(
        read(building(), "setback:S.1", text, temperature="20 degC")
    )
    assert check(result, "setback:S.1")["verdict"] == word


def test_nothing_measured_is_unmeasured() -> None:
    result = evaluate_document(building(notch={"width": "40 mm", "depth": "40 mm"}))
    assert {each["verdict"] for each in result["checks"]} == {"unmeasured"}
    assert result["squareness"]["verdict"] == "unmeasured"
    assert result["concrete"]["verdict"] == "unmeasured"
    assert {pad["verdict"] for pad in result["levels"]["pads"]} == {"unmeasured"}
    rods = [rod for each in result["positions"] for rod in each["rods"]]
    assert {rod["verdict"] for rod in rods} == {"unmeasured"}
    assert {rod["along"] for rod in rods} == {None}
    assert result["findings"] == []
    for each in result["checks"]:
        assert (each["observed"], each["deviation"], each["readings"]) == (
            None,
            None,
            0,
        )
        assert not each["close_to_limit"]


@pytest.mark.parametrize(("wall", "told"), [(10.0, True), (0.0, False)])
def test_a_line_apart_from_both_corners_is_told_of_a_wall_that_is_out(
    wall: float, told: bool
) -> None:
    document = read(building(), "wall:A-B", f"{LENGTH + wall} mm")
    read(document, "line:S", "8000 mm")
    read(document, "line:S", f"{LENGTH + 10 - 8000} mm", **{"from": "B"})
    found = check(evaluate_document(document), "line:S")
    assert (found["verdict"], found["spread"]) == ("remeasure", pytest.approx(10))
    assert ("the wall is 10.0 mm longer" in found["reason"]) == told
