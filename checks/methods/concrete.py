"""Concrete: the gate, the acceptance kept apart from it, and the forecast."""

from math import exp, log

import numpy as np

from checks.engine import cautions
from checks.engine.concrete.forecast import fit_curve, forecast_gate
from checks.engine.concrete.strength import (
    PSI_MPA,
    assess_acceptance,
    assess_strength_gate,
    compute_equivalent_age,
    compute_nurse_saul,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    group_parts,
    render_formula,
    render_fraction,
    render_parentheses,
    render_power,
    render_sum,
    render_symbol,
)
from checks.methods.model import (
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_conformity,
    show_quantity,
    show_yes_no,
    write_text,
)
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

RULE = MethodSource("29 CFR 1926.752(a)(1)", Provenance.PUBLISHED)
CODE = MethodSource("ACI 318-19, 26.12.3.1", Provenance.SECOND_HAND)
MATURITY = MethodSource("ASTM C1074", Provenance.SECOND_HAND)


def _psi(mpa: float, digits: int = 0) -> ExampleValue:
    return show_quantity(mpa / PSI_MPA, "psi", digits)


def _gate() -> Example:
    broken = np.array([2100.0, 2400.0, 2310.0])
    ratio = resolve_limits(ToleranceSpec()).strength_ratio()
    one = assess_strength_gate(
        broken * PSI_MPA,
        specified_mpa=3000.0 * PSI_MPA,
        ratio=ratio,
        day=[7.0, 10.0, 10.0],
    )
    two = assess_strength_gate(
        np.array([2100.0]) * PSI_MPA,
        specified_mpa=3000.0 * PSI_MPA,
        sufficient_mpa=1800.0 * PSI_MPA,
        ratio=ratio,
    )
    need = ratio * 3000.0
    return Example(
        title="3000 psi concrete, field-cured samples",
        inputs=(
            describe_input("Broken on day 7", show_quantity(broken[0], "psi", 0)),
            describe_input(
                "Broken on day 10",
                show_quantity(broken[1], "psi", 0),
                " and ",
                show_quantity(broken[2], "psi", 0),
            ),
            describe_input(
                "Or else, stated by the engineer as enough", "1800 psi, on day 7"
            ),
        ),
        steps=(
            write_text("0.75 × 3000 = ", show_quantity(need, "psi", 0), "."),
            write_text(
                "The latest day counts, and its lowest sample: ",
                show_quantity(broken[1:].min(), "psi", 0),
                ".",
            ),
            write_text(
                "By the other route the easier of the two: 1800 psi, and ",
                show_quantity(broken[0], "psi", 0),
                " on day 7.",
            ),
        ),
        results=(
            ExampleResult(
                "Needed by 75 %", _psi(one.required_mpa), show_quantity(need, "psi", 0)
            ),
            ExampleResult(
                "Sample that counts",
                _psi(one.strength_mpa),
                show_quantity(broken[1:].min(), "psi", 0),
            ),
            ExampleResult(
                "Gate on day 10",
                show_conformity(one.open),
                show_conformity(broken[1:].min() >= need),
            ),
            ExampleResult(
                "Needed by the engineer's statement",
                _psi(two.required_mpa),
                show_quantity(1800.0, "psi", 0),
            ),
            ExampleResult(
                "Gate by that on day 7",
                show_conformity(two.open),
                show_conformity(broken[0] >= 1800.0),
            ),
        ),
    )


def _accepted() -> Example:
    tests = np.array([3100.0, 2950.0, 2900.0, 3250.0])
    found = assess_acceptance(tests * PSI_MPA, 3000.0 * PSI_MPA)
    averages = [float(tests[i : i + 3].mean()) for i in range(2)]
    return Example(
        title="Four tests of 3000 psi concrete",
        inputs=(describe_input("Standard-cured tests", "3100, 2950, 2900, 3250 psi"),),
        steps=(
            write_text(
                "(3100 + 2950 + 2900) ÷ 3 = ",
                show_quantity(averages[0], "psi", 0),
                ", less than 3000.",
            ),
            write_text(
                "(2950 + 2900 + 3250) ÷ 3 = ", show_quantity(averages[1], "psi", 0), "."
            ),
            write_text("None below 3000 − 500 psi."),
        ),
        results=(
            ExampleResult(
                "First average of three",
                _psi(found.average_of_three_mpa[0]),
                show_quantity(averages[0], "psi", 0),
            ),
            ExampleResult(
                "Second average of three",
                _psi(found.average_of_three_mpa[1]),
                show_quantity(averages[1], "psi", 0),
            ),
            ExampleResult(
                "Lowest test allowed",
                _psi(found.lowest_allowed_mpa),
                show_quantity(2500.0, "psi", 0),
            ),
            ExampleResult(
                "Accepted",
                show_yes_no(found.accepted),
                show_yes_no(min(averages) >= 3000.0),
            ),
        ),
    )


def _mature() -> Example:
    found = float(compute_nurse_saul(np.full(28, 15.0), 24.0, datum_c=-11.0))
    return Example(
        title="28 days at 15 °C",
        source=MethodSource(
            "course notes on maturity, civinnovate", Provenance.SECOND_HAND
        ),
        inputs=(
            describe_input("Temperature", "15 °C for 28 days"),
            describe_input("Datum", "−11 °C"),
        ),
        steps=(write_text("(15 + 11) × 28."),),
        results=(
            ExampleResult(
                "Maturity",
                show_quantity(found / 24.0, "°C · days", 0),
                show_quantity((15.0 + 11.0) * 28.0, "°C · days", 0),
                show_quantity(728.0, "°C · days", 0),
            ),
        ),
    )


def _aged() -> Example:
    found = float(compute_equivalent_age([10.0, 30.0], [48.0, 48.0]))
    shares = [exp(-5000.0 * (1.0 / (t + 273.15) - 1.0 / 293.15)) for t in (10.0, 30.0)]
    return Example(
        title="Two days at 10 °C, two at 30 °C",
        inputs=(
            describe_input("Temperature", "10 °C for 48 h, then 30 °C for 48 h"),
            describe_input("Q", "5000 K"),
            describe_input("Reference", "20 °C"),
        ),
        steps=(
            write_text(
                "exp(−5000 × (1 ÷ 283.15 − 1 ÷ 293.15)) = ",
                show_quantity(shares[0], "", 5),
                ".",
            ),
            write_text(
                "exp(−5000 × (1 ÷ 303.15 − 1 ÷ 293.15)) = ",
                show_quantity(shares[1], "", 5),
                ".",
            ),
            write_text("48 × both = ", show_quantity(48.0 * sum(shares), "h", 1), "."),
        ),
        results=(
            ExampleResult(
                "Equivalent age",
                show_quantity(found, "h", 1),
                show_quantity(48.0 * sum(shares), "h", 1),
            ),
        ),
    )


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
        inputs=(
            describe_input("Cylinders at", "500, 1000, 2000 and 4000 °C · h"),
            describe_input("Broken at", "8.0, 11.0, 14.0 and 17.4 MPa"),
            describe_input("Needed", "15.5 MPa"),
            describe_input(
                "Maturity in place",
                "1500 °C · h, gaining 12 an hour; 8 if cold, 16 if warm",
            ),
        ),
        steps=(
            write_text(
                "Each doubling: (−1.5 × 8 − 0.5 × 11 + 0.5 × 14 + 1.5 × 17.4) ÷ 5 = ",
                show_quantity(step, "MPa", 3),
                ".",
            ),
            write_text(
                "b = that ÷ ln 2 = ",
                show_quantity(slope, "MPa", 3),
                "; a = ",
                show_quantity(start, "MPa", 3),
                ".",
            ),
            write_text(
                "exp((15.5 − a) ÷ b) = ", show_quantity(needed, "°C · h", 0), "."
            ),
            write_text(
                "(",
                show_quantity(needed, "", 0),
                " − 1500) ÷ 12 = ",
                show_quantity((needed - 1500.0) / 12.0, "h", 0),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Maturity needed",
                show_quantity(found.maturity, "°C · h", 0),
                show_quantity(needed, "°C · h", 0),
            ),
            ExampleResult(
                "Likely after",
                show_quantity(found.likely_h, "h", 0),
                show_quantity((needed - 1500.0) / 12.0, "h", 0),
            ),
            ExampleResult("Earliest, 95 %", show_quantity(found.earliest_h, "h", 0)),
            ExampleResult("Latest, 95 %", show_quantity(found.latest_h, "h", 0)),
        ),
    )


METHODS = (
    MethodDescription(
        slug="strength-gate",
        name="Strength gate, by both routes",
        summary="Whether the concrete is strong enough for columns to be set.",
        engine=("concrete.strength", "remedies.other"),
        formulas=(render_formula("S ≥ min(0.75 f_c′, S_e)"),),
        symbols=(
            Symbol(
                render_symbol("S"), "lowest field-cured sample of the latest day", "MPa"
            ),
            Symbol(render_symbol("f_c′"), "specified strength", "MPa"),
            Symbol(
                render_symbol("S_e"),
                "enough for erection, as the engineer states",
                "MPa",
            ),
        ),
        sources=(
            RULE,
            MethodSource(
                "the lowest of the latest day's samples counts",
                Provenance.PROJECT_CHOICE,
            ),
            MethodSource(
                "companion cylinders at most 9.0 % (two) or 10.6 % (three) of their"
                " mean apart: ASTM C39, 4 by 8 in cylinders",
                Provenance.FROM_MEMORY,
            ),
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
    MethodDescription(
        slug="concrete-acceptance",
        name="Acceptance of the concrete as delivered",
        summary="Whether standard-cured tests meet the strength that was specified.",
        engine=("concrete.strength",),
        formulas=(
            render_formula(
                render_fraction("1", "3"), "(T_i + T_{i+1} + T_{i+2}) ≥ f_c′"
            ),
            render_formula('T_i ≥ f_c′ − 500 "psi"'),
            render_formula('T_i ≥ 0.90 f_c′ "over 5000 psi"'),
        ),
        symbols=(
            Symbol(
                render_symbol("T_i"),
                "strength tests in the order made, each the mean of its cylinders",
                "psi",
            ),
            Symbol(render_symbol("f_c′"), "specified strength", "psi"),
        ),
        sources=(CODE,),
        limits=(
            "Kept apart from the gate: it says nothing about when columns may be set.",
            "With fewer than three tests only single tests are judged.",
        ),
        examples=(_accepted,),
    ),
    MethodDescription(
        slug="maturity",
        name="Maturity and equivalent age",
        summary="How far the concrete has come, from how warm it has been.",
        engine=("concrete.strength",),
        formulas=(
            render_formula("M =", render_sum("", "(T − T_0) Δ t")),
            render_formula("t_e =", render_sum("", render_power("e", "x"), "Δ t")),
            render_formula(
                "x = − Q",
                render_parentheses(
                    render_fraction("1", "T_a"), "−", render_fraction("1", "T_s")
                ),
            ),
        ),
        symbols=(
            Symbol(render_symbol("M"), "maturity by Nurse and Saul", "°C · h"),
            Symbol(render_symbol("T , T_0"), "concrete's temperature, and datum", "°C"),
            Symbol(
                render_symbol("t_e"), "equivalent age at the reference temperature", "h"
            ),
            Symbol(
                render_symbol("T_a , T_s"), "concrete's and reference temperature", "K"
            ),
            Symbol(render_symbol("Q"), "activation energy over the gas constant", "K"),
        ),
        sources=(
            MATURITY,
            MethodSource(
                "A. K. Schindler, ACI Materials Journal 101-M09, for the form of the"
                " equivalent age",
                Provenance.PUBLISHED,
            ),
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
    MethodDescription(
        slug="strength-forecast",
        name="Forecast of the day the gate opens",
        summary="When the needed strength is likely to be reached, for planning.",
        engine=("concrete.forecast",),
        formulas=(
            render_formula("S = a + b ln(M)"),
            render_formula("M_n =", render_power("e", "(S_n − a) / b")),
            render_formula("h =", render_fraction("M_n − M", group_parts("g"))),
        ),
        symbols=(
            Symbol(render_symbol("S"), "strength of the mixture's cylinders", "MPa"),
            Symbol(
                render_symbol("M"), "their maturity, and that of the concrete", "°C · h"
            ),
            Symbol(
                render_symbol("S_n , M_n"),
                "strength and maturity needed",
                "MPa, °C · h",
            ),
            Symbol(render_symbol("g"), "maturity gained in an hour, as expected", "°C"),
            Symbol(render_symbol("h"), "hours until then", "h"),
        ),
        sources=(
            MATURITY,
            MethodSource(
                "the logarithmic curve: J. M. Plowman, 1956", Provenance.FROM_MEMORY
            ),
            MethodSource(
                "the range: Fieller's limits for a single further sample, and the"
                " coldest and warmest expected",
                Provenance.FROM_MEMORY,
            ),
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
)
