"""Acceptance of the concrete and the forecast of its gate as `evaluate` gives them.

Figures are of published rules, worked by hand where the rule is all there is.
"""

import math
from datetime import date, timedelta

import numpy as np
import pytest

from tests.published.contract import PSI, Document, building, evaluate_document, read

PSI_TESTS = ("2950 psi", "3180 psi", "2870 psi", "3010 psi")


def result_of(*samples: str, **concrete: object) -> Document:
    document = building(concrete={"specified_strength": "3000 psi", **concrete})
    for number, value in enumerate(samples):
        read(document, f"strength:F{number}", value)
    return dict(evaluate_document(document)["concrete"])


def curve(line: tuple[float, float], *maturities: float) -> list[Document]:
    """Cylinders exactly on S = a + b ln(M). [MPa]"""
    a, b = line
    return [
        {"maturity": m, "strength": f"{a + b * math.log(m):.12f} MPa"}
        for m in maturities
    ]


LINE = (-20.0, 5.0)
MATURITY = {
    "datum": "0 degC",
    "curve": curve(LINE, 400, 900, 2000, 4500),
    "temperatures": [
        {"hours": 10, "temperature": "20 degC"},
        {"hours": 20, "temperature": "-4 degC"},
        {"hours": 30, "temperature": "15 degC"},
    ],
    "expected": {"low": "5 degC", "likely": "10 degC", "high": "20 degC"},
}


def forecast(*samples: str, **changed: object) -> Document:
    concrete = {"sufficient_strength": "14 MPa", "placed_on": "2026-03-02"}
    concrete |= {k: changed.pop(k) for k in tuple(changed) if k in concrete}
    concrete["maturity"] = {**MATURITY, **changed}
    kept = {name: value for name, value in concrete.items() if value is not None}
    return dict(result_of(*samples, **kept)["forecast"])


# ---- acceptance ---------------------------------------------------------------------


def test_averages_of_three_run_over_the_tests_in_their_order() -> None:
    # ACI 318-19 26.12.3.1 (second-hand), first rule: (2950 + 3180 + 2870) / 3 = 3000,
    # which is enough; (3180 + 2870 + 3010) / 3 = 3020
    found = result_of(standard_cured=list(PSI_TESTS))["acceptance"]
    assert [row["strength"] / PSI for row in found["averages"]] == pytest.approx(
        [3000, 3020]
    )
    assert [row["tests"] for row in found["averages"]] == [[1, 2, 3], [2, 3, 4]]
    assert found["accepted"] is True
    worse = ["2950 psi", "3180 psi", "2869 psi"]
    found = result_of(standard_cured=worse)["acceptance"]
    assert [row["low"] for row in found["averages"]] == [True]
    assert found["accepted"] is False


@pytest.mark.parametrize(
    ("specified", "lowest"),
    [
        # second rule: 500 psi below up to 5000 psi, 10 % above that
        ("3000 psi", 2500),
        ("5000 psi", 4500),
        ("5001 psi", 4500.9),
        ("8000 psi", 7200),
    ],
)
def test_a_single_test_may_be_so_low_and_no_lower(
    specified: str, lowest: float
) -> None:
    tests = [f"{lowest} psi", f"{lowest - 0.5} psi", "9000 psi", "9000 psi"]
    found = result_of(specified_strength=specified, standard_cured=tests)["acceptance"]
    assert found["lowest_allowed"] / PSI == pytest.approx(lowest)
    assert [row["low"] for row in found["tests"]] == [False, True, False, False]
    assert found["accepted"] is False


@pytest.mark.parametrize(("tests", "said"), [(1, True), (2, True), (3, False)])
def test_fewer_than_three_tests_leave_the_averages_unjudged_and_say_so(
    tests: int, said: bool
) -> None:
    # ACI 318-19 26.12.3.1 (second-hand): both rules hold, and 2900 is within 500 psi
    found = result_of(standard_cured=["3100 psi", "2900 psi", "3050 psi"][:tests])
    assert found["acceptance"]["accepted"]
    assert ("no average of three" in found["acceptance"]["note"]) == said
    assert (found["acceptance"]["averages"] == []) == said


def test_acceptance_and_the_gate_say_nothing_of_each_other() -> None:
    poor = result_of("2500 psi", standard_cured=["2000 psi"])
    assert poor["verdict"] == "within"
    assert poor["acceptance"]["accepted"] is False
    good = result_of(standard_cured=["4000 psi"])
    assert good["verdict"] == "unmeasured"
    assert good["acceptance"]["accepted"] is True
    assert "gate" in good["acceptance"]["note"]
    assert "26.12.3.1 (secondary)" in good["acceptance"]["source"]


def test_rejected_concrete_opens_no_finding_of_its_own() -> None:
    document = building(
        concrete={"specified_strength": "3000 psi", "standard_cured": ["2000 psi"]}
    )
    assert evaluate_document(document)["findings"] == []


def test_without_tests_or_temperatures_there_is_neither() -> None:
    concrete = result_of("2400 psi")
    assert (concrete["acceptance"], concrete["forecast"]) == (None, None)


# ---- forecast -----------------------------------------------------------------------


def test_maturity_adds_up_over_the_hours_since_placing() -> None:
    # ASTM C1074 (second-hand), Nurse-Saul, frozen hours count nothing:
    # 10 h * 20 + 20 h * 0 + 30 h * 15 = 650 degC h
    found = forecast()
    assert found["maturity_now"] == pytest.approx(650)
    assert found["elapsed_hours"] == 60
    # with a datum of -10 degC, as older notes have it: 300 + 120 + 750
    assert forecast(datum="-10 degC")["maturity_now"] == pytest.approx(1170)


def test_published_maturities() -> None:
    # civinnovate (second-hand): 28 d * (15 - (-11)) = 728 °C d
    month = [{"hours": 672, "temperature": "15 degC"}]
    found = forecast(datum="-11 degC", temperatures=month)
    assert found["maturity_now"] / 24 == pytest.approx(728)
    # engius (second-hand): 3500 °C h at 23 °C above the datum takes 152 h
    start = [{"hours": 1e-9, "temperature": "23 degC"}]
    cylinders = curve((-26.0, 5.0), 700, 3500)
    found = forecast(
        temperatures=start,
        curve=cylinders,
        sufficient_strength=cylinders[1]["strength"],
        expected=dict.fromkeys(("low", "likely", "high"), "23 degC"),
    )
    assert found["maturity_needed"] == pytest.approx(3500)
    assert round(found["likely_hours"]) == 152


def test_hours_ahead_follow_from_the_curve_and_the_temperatures_expected() -> None:
    # 14 = -20 + 5 ln M, so M = exp(6.8) = 897.847..., of which 650 are there
    found = forecast()
    needed = math.exp(6.8)
    assert found["required"] == pytest.approx(14)
    assert found["maturity_needed"] == pytest.approx(needed)
    assert found["likely_hours"] == pytest.approx((needed - 650) / 10)
    # the cylinders lie on the line, so the range is that of the temperatures
    assert found["earliest_hours"] == pytest.approx((needed - 650) / 20, abs=1e-4)
    assert found["latest_hours"] == pytest.approx((needed - 650) / 5, abs=1e-4)
    assert found["strength_now"] == pytest.approx(-20 + 5 * math.log(650))


def test_days_are_counted_from_the_day_of_placing_and_no_clock_is_asked() -> None:
    # 60 h are past; ahead 24.8 h likely, 12.4 h at the earliest, 49.6 h at the latest.
    # Placed at noon: 96.8 h into 2 March; at its start: 72.4 h; at its end: 133.6 h
    assert forecast()["opens_on"] == {
        "likely": "2026-03-06",
        "earliest": "2026-03-05",
        "latest": "2026-03-07",
    }
    found = forecast(placed_on=None)
    assert found["opens_on"] is None
    assert found["likely_hours"] == forecast()["likely_hours"]
    assert any("day of placing" in each for each in found["remarks"])


def test_scatter_widens_the_range_as_the_prediction_limits_of_a_straight_line() -> None:
    # against the limits as statsmodels draws them
    import statsmodels.api as sm

    maturity = np.array([300.0, 600, 1100, 2300, 4800])
    strength = np.array([7.1, 11.2, 14.0, 19.3, 22.1])
    cylinders = [
        {"maturity": m, "strength": f"{s} MPa"}
        for m, s in zip(maturity, strength, strict=True)
    ]
    same = dict.fromkeys(("low", "likely", "high"), "10 degC")
    found = forecast(curve=cylinders, expected=same, sufficient_strength="15 MPa")
    fit = sm.OLS(strength, sm.add_constant(np.log(maturity))).fit()
    hours = np.array([found["earliest_hours"], found["latest_hours"]])
    ends = np.column_stack([np.ones(2), np.log(650 + 10 * hours)])
    limits = fit.get_prediction(ends).conf_int(obs=True, alpha=1 - found["confidence"])
    assert limits[0, 1] == pytest.approx(15, abs=1e-9)
    assert limits[1, 0] == pytest.approx(15, abs=1e-9)


def test_equivalent_age_counts_by_the_arrhenius_form() -> None:
    # Q = 5000 K, Ts = 20 °C: factors 0.54751 at 10 °C and 1.75528 at 30 °C, recomputed
    # from the form of ASTM C1074 (second-hand); no worked example was found
    known = {
        "activation": 5000,
        "reference": "20 degC",
        "curve": [
            {"age": 24, "strength": "8 MPa"},
            {"age": 96, "strength": "16 MPa"},
        ],
        "temperatures": [
            {"hours": 10, "temperature": "10 degC"},
            {"hours": 20, "temperature": "30 degC"},
        ],
        "expected": {"low": "10 degC", "likely": "20 degC", "high": "30 degC"},
    }
    document = building(concrete={"sufficient_strength": "16 MPa", "maturity": known})
    found = evaluate_document(document)["concrete"]["forecast"]
    assert (found["method"], found["unit"]) == ("equivalent_age", "h")
    now = 5.4751 + 35.1056
    assert found["maturity_now"] == pytest.approx(now, abs=2e-4)
    assert found["maturity_needed"] == pytest.approx(96)
    assert found["likely_hours"] == pytest.approx(96 - now, abs=2e-4)
    # two cylinders lie on any line: a day, but no range
    assert found["earliest_hours"] is found["latest_hours"] is None
    assert any("no range" in each for each in found["remarks"])


@pytest.mark.parametrize(
    ("celsius", "word"), [(-6, "below freezing"), (45, "0 to 40 °C"), (0, ""), (40, "")]
)
def test_equivalent_age_outside_its_temperatures_is_said_to_be_a_guess(
    celsius: int, word: str
) -> None:
    # the usual constants are for 0 to 40 °C (published-facts 8.1, second-hand)
    known = {
        "activation": 5000,
        "reference": "20 degC",
        "curve": [{"age": 24, "strength": "8 MPa"}, {"age": 96, "strength": "16 MPa"}],
        "temperatures": [{"hours": 10, "temperature": f"{celsius} degC"}],
        "expected": {"low": "10 degC", "likely": "20 degC", "high": "30 degC"},
    }
    document = building(concrete={"sufficient_strength": "16 MPa", "maturity": known})
    remarks = evaluate_document(document)["concrete"]["forecast"]["remarks"]
    guesses = [each for each in remarks if "guess" in each]
    assert len(guesses) == bool(word)
    assert all(word in each for each in guesses)


def test_cold_ahead_has_no_latest_day_and_colder_no_day() -> None:
    cold = {"low": "-3 degC", "likely": "6 degC", "high": "9 degC"}
    found = forecast(expected=cold)
    assert found["latest_hours"] is found["opens_on"]["latest"] is None
    assert found["likely_hours"] > 0
    colder = {"low": "-9 degC", "likely": "-5 degC", "high": "2 degC"}
    found = forecast(expected=colder)
    assert found["likely_hours"] is found["opens_on"]["likely"] is None
    assert found["earliest_hours"] > 0
    assert len(found["remarks"]) == 3


def test_cylinders_that_gain_nothing_forecast_nothing() -> None:
    falling = [
        {"maturity": 500, "strength": "12 MPa"},
        {"maturity": 900, "strength": "11 MPa"},
    ]
    found = forecast(curve=falling)
    assert found["maturity_now"] == pytest.approx(650)
    assert found["likely_hours"] is found["maturity_needed"] is None
    assert "do not gain strength" in found["remarks"][0]


def test_a_strength_past_the_oldest_cylinder_is_said_to_be_a_guess() -> None:
    far = forecast(sufficient_strength="15.5 MPa", curve=curve(LINE, 300, 700, 1100))
    assert any("oldest cylinder" in each for each in far["remarks"])
    near = forecast(sufficient_strength="12 MPa", curve=curve(LINE, 300, 700, 1100))
    assert not any("oldest cylinder" in each for each in near["remarks"])


def test_a_forecast_never_opens_the_gate() -> None:
    warm = [{"hours": 2000, "temperature": "25 degC"}]
    concrete = {
        "sufficient_strength": "14 MPa",
        "placed_on": "2026-03-02",
        "maturity": {**MATURITY, "temperatures": warm},
    }
    result = result_of(**concrete)
    assert result["forecast"]["likely_hours"] == 0
    assert result["verdict"] == "unmeasured"
    assert "never opens the gate" in result["forecast"]["note"]
    weak = result_of("9 MPa", **concrete)
    assert weak["verdict"] == "outside"
    assert weak["forecast"] == result["forecast"]


def test_the_lesser_of_the_two_routes_is_forecast() -> None:
    # 0.75 * 3000 psi = 15.51 MPa against the engineer's 14 MPa
    assert forecast()["required"] == pytest.approx(14)
    alone = forecast(sufficient_strength=None)
    assert alone["required"] == pytest.approx(0.75 * 3000 * PSI)


def test_days_past_the_calendar_are_not_given() -> None:
    slow = {"low": "0.000001 degC", "likely": "0.000002 degC", "high": "1 degC"}
    found = forecast(expected=slow)
    assert found["likely_hours"] > 1e8
    assert found["opens_on"]["likely"] is None
    first = date(2026, 3, 2) + timedelta(hours=60 + found["earliest_hours"])
    assert found["opens_on"]["earliest"] == first.isoformat()


# ---- samples that cannot be believed ------------------------------------------------


def broken(*samples: tuple[str, str, str | None], **concrete: object) -> Document:
    """Samples by name, strength and the time they were broken."""
    document = building(concrete={"specified_strength": "3000 psi", **concrete})
    for name, value, at in samples:
        read(document, f"strength:{name}", value, **({"at": at} if at else {}))
    return dict(evaluate_document(document))


def test_a_sample_of_before_the_concrete_was_placed_opens_nothing() -> None:
    early = ("F1", "3000 psi", "2026-03-01T10:00:00Z")
    found = broken(early, placed_on="2026-03-02")
    assert found["concrete"]["verdict"] == "unmeasured"
    assert "dated before 2026-03-02" in found["concrete"]["reason"]
    check = next(row for row in found["checks"] if row["check"] == "strength:F1")
    assert check["verdict"] == "remeasure"
    assert "One of the two dates is wrong" in check["reason"]
    assert found["findings"] == []
    # Concrete is not a day old on the day of placing.
    same_day = broken(early, placed_on="2026-03-01")["concrete"]
    assert same_day["verdict"] == "unmeasured"
    assert broken(early, placed_on="2026-02-20")["concrete"]["verdict"] == "within"
    later = ("F2", "2000 psi", "2026-03-09T10:00:00Z")
    found = broken(early, later, placed_on="2026-03-02")["concrete"]
    assert (found["verdict"], found["samples"]) == ("outside", ["strength:F2"])


def test_a_date_that_cannot_be_leaves_the_sample_s_other_readings_standing() -> None:
    early = ("F1", "3000 psi", "2026-03-01T10:00:00Z")
    found = broken(early, ("F1", "2000 psi", None), placed_on="2026-03-02")["concrete"]
    assert found["verdict"] == "outside"
    assert found["strength"] / PSI == pytest.approx(2000)


def test_companions_too_far_apart_ask_for_another_look() -> None:
    # ASTM C39 (from memory): two companions within 9.0 % of their mean of 2500
    day = "2026-03-09T10:00:00Z"
    near = broken(("F1", "2390 psi", day), ("F1", "2610 psi", day))["concrete"]
    assert (near["verdict"], near["reason"]) == ("within", None)
    found = broken(("F1", "2380 psi", day), ("F1", "2620 psi", day))
    assert found["concrete"]["verdict"] == "remeasure"
    assert (
        "differ by 9.6% of their mean, more than the 9.0%"
        in found["concrete"]["reason"]
    )
    assert "from memory" in found["concrete"]["reason"]
    (finding,) = found["findings"]
    assert finding["finding"] == "strength"
    remedies = [row["remedy"] for row in finding["remedies"]]
    assert remedies == ["remeasure", "refer"]
    check = next(row for row in found["checks"] if row["check"] == "strength:F1")
    assert check["verdict"] == "remeasure"


def test_cylinders_of_two_days_or_two_samples_are_no_companions() -> None:
    first, second = "2026-03-05T10:00:00Z", "2026-03-09T10:00:00Z"
    assert broken(("F1", "1500 psi", first), ("F1", "2500 psi", second))["concrete"][
        "verdict"
    ] == "within"  # fmt: skip
    found = broken(("F1", "2300 psi", second), ("F2", "2540 psi", second))["concrete"]
    assert (found["verdict"], found["reason"]) == ("within", None)


def test_a_sample_without_a_specified_strength_says_what_is_missing() -> None:
    document = building(concrete={"placed_on": "2026-03-02"})
    read(document, "strength:F1", "3000 psi")
    found = evaluate_document(document)["concrete"]
    assert found["verdict"] == "unmeasured"
    assert found["reason"].startswith("The plan gives no strength")
