"""Concrete: the gate, the acceptance kept apart from it, and the forecast."""

from math import exp, log

import numpy as np

from checks.engine import cautions
from checks.engine.strength import (
    PSI_MPA,
    equivalent_age,
    judge_acceptance,
    judge_gate,
    nurse_saul,
)
from checks.engine.strength_forecast import fit_curve, forecast_gate
from checks.methods.model import (
    Example,
    Method,
    Piece,
    Result,
    Source,
    Symbol,
    amount,
    given,
    said,
    within,
    yes_no,
)
from checks.methods.notation import around, formula, frac, raised, row, sign, total
from checks.tolerances import limits_for
from jobs.plan.model import Tolerances

RULE = Source("29 CFR 1926.752(a)(1)", "published")
CODE = Source("ACI 318-19, 26.12.3.1", "published, seen second-hand")
MATURITY = Source("ASTM C1074", "published, seen second-hand")


def _psi(mpa: float, digits: int = 0) -> Piece:
    return amount(mpa / PSI_MPA, "psi", digits)


def _gate() -> Example:
    broken = np.array([2100.0, 2400.0, 2310.0])
    ratio = limits_for(Tolerances()).strength_ratio()
    one = judge_gate(broken * PSI_MPA, specified_mpa=3000.0 * PSI_MPA, ratio=ratio,
                     day=[7.0, 10.0, 10.0])  # fmt: skip
    two = judge_gate(
        np.array([2100.0]) * PSI_MPA,
        specified_mpa=3000.0 * PSI_MPA,
        sufficient_mpa=1800.0 * PSI_MPA,
        ratio=ratio,
    )
    need = ratio * 3000.0
    return Example(
        title="3000 psi concrete, field-cured samples",
        given=(
            given("Broken on day 7", amount(broken[0], "psi", 0)),
            given("Broken on day 10", amount(broken[1], "psi", 0), " and ",
                  amount(broken[2], "psi", 0)),
            given("Or else, stated by the engineer as enough", "1800 psi, on day 7"),
        ),
        steps=(
            said("0.75 × 3000 = ", amount(need, "psi", 0), "."),
            said("The latest day counts, and its lowest sample: ",
                 amount(broken[1:].min(), "psi", 0), "."),
            said("By the other route the easier of the two: 1800 psi, and ",
                 amount(broken[0], "psi", 0), " on day 7."),
        ),
        results=(
            Result("Needed by 75 %", _psi(one.required_mpa), amount(need, "psi", 0)),
            Result("Sample that counts", _psi(one.strength_mpa),
                   amount(broken[1:].min(), "psi", 0)),
            Result("Gate on day 10", within(one.open),
                   within(broken[1:].min() >= need)),
            Result("Needed by the engineer's statement", _psi(two.required_mpa),
                   amount(1800.0, "psi", 0)),
            Result("Gate by that on day 7", within(two.open),
                   within(broken[0] >= 1800.0)),
        ),
    )  # fmt: skip


def _accepted() -> Example:
    tests = np.array([3100.0, 2950.0, 2900.0, 3250.0])
    found = judge_acceptance(tests * PSI_MPA, 3000.0 * PSI_MPA)
    averages = [float(tests[i : i + 3].mean()) for i in range(2)]
    return Example(
        title="Four tests of 3000 psi concrete",
        given=(given("Standard-cured tests", "3100, 2950, 2900, 3250 psi"),),
        steps=(
            said("(3100 + 2950 + 2900) ÷ 3 = ", amount(averages[0], "psi", 0),
                 ", less than 3000."),
            said("(2950 + 2900 + 3250) ÷ 3 = ", amount(averages[1], "psi", 0), "."),
            said("None below 3000 − 500 psi."),
        ),
        results=(
            Result("First average of three", _psi(found.average_of_three_mpa[0]),
                   amount(averages[0], "psi", 0)),
            Result("Second average of three", _psi(found.average_of_three_mpa[1]),
                   amount(averages[1], "psi", 0)),
            Result("Lowest test allowed", _psi(found.lowest_allowed_mpa),
                   amount(2500.0, "psi", 0)),
            Result("Accepted", yes_no(found.accepted),
                   yes_no(min(averages) >= 3000.0)),
        ),
    )  # fmt: skip


def _mature() -> Example:
    found = float(nurse_saul(np.full(28, 15.0), 24.0, datum_c=-11.0))
    return Example(
        title="28 days at 15 °C",
        source=Source("course notes on maturity, civinnovate",
                      "published, seen second-hand"),
        given=(given("Temperature", "15 °C for 28 days"), given("Datum", "−11 °C")),
        steps=(said("(15 + 11) × 28."),),
        results=(
            Result("Maturity", amount(found / 24.0, "°C · days", 0),
                   amount((15.0 + 11.0) * 28.0, "°C · days", 0),
                   amount(728.0, "°C · days", 0)),
        ),
    )  # fmt: skip


def _aged() -> Example:
    found = float(equivalent_age([10.0, 30.0], [48.0, 48.0]))
    shares = [exp(-5000.0 * (1.0 / (t + 273.15) - 1.0 / 293.15)) for t in (10.0, 30.0)]
    return Example(
        title="Two days at 10 °C, two at 30 °C",
        given=(
            given("Temperature", "10 °C for 48 h, then 30 °C for 48 h"),
            given("Q", "5000 K"),
            given("Reference", "20 °C"),
        ),
        steps=(
            said("exp(−5000 × (1 ÷ 283.15 − 1 ÷ 293.15)) = ",
                 amount(shares[0], "", 5), "."),
            said("exp(−5000 × (1 ÷ 303.15 − 1 ÷ 293.15)) = ",
                 amount(shares[1], "", 5), "."),
            said("48 × both = ", amount(48.0 * sum(shares), "h", 1), "."),
        ),
        results=(
            Result("Equivalent age", amount(found, "h", 1),
                   amount(48.0 * sum(shares), "h", 1)),
        ),
    )  # fmt: skip


def _forecast() -> Example:
    maturity = np.array([500.0, 1000.0, 2000.0, 4000.0])
    broken = np.array([8.0, 11.0, 14.0, 17.4])
    curve = fit_curve(maturity, broken)
    found = forecast_gate(curve, 15.5, 1500.0, (8.0, 12.0, 16.0))
    step = float(np.array([-1.5, -0.5, 0.5, 1.5]) @ broken) / 5.0
    slope = step / log(2.0)
    start = float(broken.mean()) - slope * float(np.log(maturity).mean())
    needed = exp((15.5 - start) / slope)
    return Example(
        title="Four cylinders, concrete kept at about 12 °C",
        given=(
            given("Cylinders at", "500, 1000, 2000 and 4000 °C · h"),
            given("Broken at", "8.0, 11.0, 14.0 and 17.4 MPa"),
            given("Needed", "15.5 MPa"),
            given("Maturity in place", "1500 °C · h, gaining 12 an hour; 8 if cold, 16"
                  " if warm"),
        ),
        steps=(
            said("Each doubling: (−1.5 × 8 − 0.5 × 11 + 0.5 × 14 + 1.5 × 17.4) ÷ 5 = ",
                 amount(step, "MPa", 3), "."),
            said("b = that ÷ ln 2 = ", amount(slope, "MPa", 3), "; a = ",
                 amount(start, "MPa", 3), "."),
            said("exp((15.5 − a) ÷ b) = ", amount(needed, "°C · h", 0), "."),
            said("(", amount(needed, "", 0), " − 1500) ÷ 12 = ",
                 amount((needed - 1500.0) / 12.0, "h", 0), "."),
        ),
        results=(
            Result("Maturity needed", amount(found.maturity, "°C · h", 0),
                   amount(needed, "°C · h", 0)),
            Result("Likely after", amount(found.likely_h, "h", 0),
                   amount((needed - 1500.0) / 12.0, "h", 0)),
            Result("Earliest, 95 %", amount(found.earliest_h, "h", 0)),
            Result("Latest, 95 %", amount(found.latest_h, "h", 0)),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="strength-gate",
        name="Strength gate, by both routes",
        answers="Whether the concrete is strong enough for columns to be set.",
        engine=("strength", "surface_remedies"),
        formulas=(formula('S ≥ min(0.75 f_c′, S_e)'),),
        symbols=(
            Symbol(sign("S"), "lowest field-cured sample of the latest day", "MPa"),
            Symbol(sign("f_c′"), "specified strength", "MPa"),
            Symbol(sign("S_e"), "enough for erection, as the engineer states", "MPa"),
        ),
        sources=(
            RULE,
            Source("the lowest of the latest day's samples counts", "ours"),
            Source("companion cylinders at most 9.0 % (two) or 10.6 % (three) of their"
                   " mean apart: ASTM C39, 4 by 8 in cylinders", "from memory"),
        ),
        limits=(
            "Field-cured samples only, by an appropriate ASTM method.",
            "One dated before the concrete was placed, or whose companions are further"
            " apart, opens nothing.",
            "The written notice to the erector is a separate step, and required.",
            "It opens nothing by itself: a release is signed.",
        ),
        examples=(_gate,),
        cautions=(cautions.NOTICES,),
    ),
    Method(
        slug="concrete-acceptance",
        name="Acceptance of the concrete as delivered",
        answers="Whether standard-cured tests meet the strength that was specified.",
        engine=("strength",),
        formulas=(
            formula(frac("1", "3"), "(T_i + T_{i+1} + T_{i+2}) ≥ f_c′"),
            formula('T_i ≥ f_c′ − 500 "psi"'),
            formula('T_i ≥ 0.90 f_c′ "over 5000 psi"'),
        ),
        symbols=(
            Symbol(sign("T_i"), "strength tests in the order made, each the mean of its"
                   " cylinders", "psi"),
            Symbol(sign("f_c′"), "specified strength", "psi"),
        ),
        sources=(CODE,),
        limits=(
            "Kept apart from the gate: it says nothing about when columns may be set.",
            "With fewer than three tests only single tests are judged.",
        ),
        examples=(_accepted,),
    ),
    Method(
        slug="maturity",
        name="Maturity and equivalent age",
        answers="How far the concrete has come, from how warm it has been.",
        engine=("strength",),
        formulas=(
            formula("M =", total("", "(T − T_0) Δ t")),
            formula("t_e =", total("", raised("e", "x"), "Δ t")),
            formula("x = − Q", around(frac("1", "T_a"), "−", frac("1", "T_s"))),
        ),
        symbols=(
            Symbol(sign("M"), "maturity by Nurse and Saul", "°C · h"),
            Symbol(sign("T , T_0"), "concrete's temperature, and datum", "°C"),
            Symbol(sign("t_e"), "equivalent age at the reference temperature", "h"),
            Symbol(sign("T_a , T_s"), "concrete's and reference temperature", "K"),
            Symbol(sign("Q"), "activation energy over the gas constant", "K"),
        ),
        sources=(
            MATURITY,
            Source("A. K. Schindler, ACI Materials Journal 101-M09, for the form of the"
                   " equivalent age", "published"),
        ),
        limits=(
            "Datum or Q are the mixture's own; fitted ones may lie well away from the"
            " usual ones.",
            "Below the datum nothing is gained, and nothing lost.",
            "Between two temperatures read the concrete is taken to change evenly; from"
            " placing to the first it had the first's.",
            "No published worked example of the equivalent age was found.",
        ),
        examples=(_mature, _aged),
    ),
    Method(
        slug="strength-forecast",
        name="Forecast of the day the gate opens",
        answers="When the needed strength is likely to be reached, for planning.",
        engine=("strength_forecast",),
        formulas=(
            formula("S = a + b ln(M)"),
            formula("M_n =", raised("e", "(S_n − a) / b")),
            formula("h =", frac("M_n − M", row("g"))),
        ),
        symbols=(
            Symbol(sign("S"), "strength of the mixture's cylinders", "MPa"),
            Symbol(sign("M"), "their maturity, and that of the concrete", "°C · h"),
            Symbol(sign("S_n , M_n"), "strength and maturity needed", "MPa, °C · h"),
            Symbol(sign("g"), "maturity gained in an hour, as expected", "°C"),
            Symbol(sign("h"), "hours until then", "h"),
        ),
        sources=(
            MATURITY,
            Source("the logarithmic curve: J. M. Plowman, 1956", "from memory"),
            Source("the range: Fieller's limits for a single further sample, and the"
                   " coldest and warmest expected", "from memory"),
        ),
        limits=(
            "It never opens the gate: only field-cured samples do.",
            "For one mixture, with its own curve; past the oldest cylinder the curve is"
            " a guess.",
            "Two cylinders give no range; scattered ones no latest day.",
        ),
        examples=(_forecast,),
        cautions=(cautions.NOTICES,),
    ),
)  # fmt: skip
