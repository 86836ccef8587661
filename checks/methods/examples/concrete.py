"""Strength gate, acceptance, maturity and forecast."""

from math import exp, log

import numpy as np

from checks.engine.concrete.forecast import fit_curve, forecast_gate
from checks.engine.concrete.maturity import compute_equivalent_age, compute_nurse_saul
from checks.engine.concrete.strength import assess_acceptance, assess_strength_gate
from checks.engine.concrete.strength_gain import (
    compute_plausible_strength,
    find_implausible,
)
from checks.engine.constants import PSI_MPA
from checks.methods.example_values import (
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec


def calculate_gate() -> Calculation:
    """Compare samples with the strength gate."""
    # The sample of day 7 is below the ratio and above the stated strength.
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
    return Calculation(
        inputs=(
            describe_input("Broken on day 7", "{:0 psi}", broken[0]),
            describe_input(
                "Broken on day 10", "{:0 psi} and {:0 psi}", broken[1], broken[2]
            ),
            describe_input(
                "Sufficient strength stated by the engineer",
                "1800 psi, applied on day 7",
            ),
        ),
        steps=(
            write_text("0.75 × 3000 = {:0 psi}.", need),
            write_text(
                "The lowest sample of the latest day counts: {:0 psi}.",
                broken[1:].min(),
            ),
            write_text(
                "By the other route 1800 psi are required; the sample of day 7 has"
                " {:0 psi}.",
                broken[0],
            ),
        ),
        results=(
            build_result("Required, 75 %", "0 psi", one.required_mpa / PSI_MPA, need),
            build_result(
                "Sample that counts",
                "0 psi",
                one.strength_mpa / PSI_MPA,
                broken[1:].min(),
            ),
            build_result(
                "Gate on day 10", "within", one.open, broken[1:].min() >= need
            ),
            build_result(
                "Required, engineer's statement",
                "0 psi",
                two.required_mpa / PSI_MPA,
                1800.0,
            ),
            build_result(
                "Gate on day 7 by that statement",
                "within",
                two.open,
                broken[0] >= 1800.0,
            ),
        ),
    )


def calculate_plausible_strength() -> Calculation:
    """Compare a strength with what is believed at its age."""
    ages = np.array([1.0, 3.0])
    bound = compute_plausible_strength(ages, 3000.0 * PSI_MPA) / PSI_MPA
    found = find_implausible([2900.0 * PSI_MPA] * 2, ages, 3000.0 * PSI_MPA)
    by_hand = [2.0 * 3000.0 * exp(0.2 * (1.0 - (28.0 / age) ** 0.5)) for age in ages]
    return Calculation(
        inputs=(
            describe_input("Specified strength", "3000 psi"),
            describe_input("Sample", "2900 psi"),
        ),
        steps=(
            write_text(
                "Class R is the faster at both ages: 2 × 3000 × exp(0.20 (1 − √28)) ="
                " {:0 psi} after one day, {:0 psi} after three.",
                *by_hand,
            ),
        ),
        results=(
            build_result("Believed after one day", "0 psi", bound[0], by_hand[0]),
            build_result("Believed after three days", "0 psi", bound[1], by_hand[1]),
            build_result("2900 psi after one day", "within", not found[0], False),
            build_result("2900 psi after three days", "within", not found[1], True),
        ),
    )


def calculate_acceptance() -> Calculation:
    """Compare strength tests with the specified strength."""
    # The first average fails although no single test does.
    tests = np.array([3100.0, 2950.0, 2900.0, 3250.0])
    computed = assess_acceptance(tests * PSI_MPA, 3000.0 * PSI_MPA)
    averages = [float(tests[i : i + 3].mean()) for i in range(2)]
    return Calculation(
        inputs=(describe_input("Standard-cured tests", "3100, 2950, 2900, 3250 psi"),),
        steps=(
            write_text(
                "(3100 + 2950 + 2900) ÷ 3 = {:0 psi}, less than 3000.", averages[0]
            ),
            write_text("(2950 + 2900 + 3250) ÷ 3 = {:0 psi}.", averages[1]),
            write_text("No test is below 3000 − 500 psi."),
        ),
        results=(
            build_result(
                "First average of three",
                "0 psi",
                computed.average_of_three_mpa[0] / PSI_MPA,
                averages[0],
            ),
            build_result(
                "Second average of three",
                "0 psi",
                computed.average_of_three_mpa[1] / PSI_MPA,
                averages[1],
            ),
            build_result(
                "Lowest test allowed",
                "0 psi",
                computed.lowest_allowed_mpa / PSI_MPA,
                2500.0,
            ),
            build_result(
                "Accepted", "yes_no", computed.accepted, min(averages) >= 3000.0
            ),
        ),
    )


def calculate_maturity() -> Calculation:
    """Calculate a maturity."""
    computed = float(compute_nurse_saul(np.full(28, 15.0), 24.0, datum_c=-11.0))
    return Calculation(
        inputs=(
            describe_input("Temperature", "15 °C for 28 days"),
            describe_input("Datum", "−11 °C"),
        ),
        steps=(write_text("(15 + 11) × 28."),),
        results=(
            build_result(
                "Maturity",
                "0 °C · days",
                computed / 24.0,
                (15.0 + 11.0) * 28.0,
                published=728.0,
            ),
        ),
    )


def calculate_equivalent_age() -> Calculation:
    """Calculate an equivalent age."""
    # No published example was computed: the hand figures follow the equation.
    computed = float(compute_equivalent_age([10.0, 30.0], [48.0, 48.0]))
    shares = [exp(-5000.0 * (1.0 / (t + 273.15) - 1.0 / 293.15)) for t in (10.0, 30.0)]
    return Calculation(
        inputs=(
            describe_input("Temperature", "10 °C for 48 h, then 30 °C for 48 h"),
            describe_input("Q", "5000 K"),
            describe_input("Reference", "20 °C"),
        ),
        steps=(
            write_text("exp(−5000 × (1 ÷ 283.15 − 1 ÷ 293.15)) = {:5}.", shares[0]),
            write_text("exp(−5000 × (1 ÷ 303.15 − 1 ÷ 293.15)) = {:5}.", shares[1]),
            write_text("48 × both = {:1 h}.", 48.0 * sum(shares)),
        ),
        results=(build_result("Equivalent age", "1 h", computed, 48.0 * sum(shares)),),
    )


def calculate_forecast() -> Calculation:
    """Forecast the strength gate."""
    # Each doubling of the maturity is one step of its logarithm, which eases the fit.
    maturity = np.array([500.0, 1000.0, 2000.0, 4000.0])
    broken = np.array([8.0, 11.0, 14.0, 17.4])
    curve = fit_curve(maturity, broken)
    computed = forecast_gate(curve, 15.5, 1500.0, (8.0, 12.0, 16.0))
    step = float(np.array([-1.5, -0.5, 0.5, 1.5]) @ broken) / 5.0
    slope = step / log(2.0)
    start = float(broken.mean()) - slope * float(np.log(maturity).mean())
    needed = exp((15.5 - start) / slope)
    return Calculation(
        inputs=(
            describe_input("Cylinders at", "500, 1000, 2000 and 4000 °C · h"),
            describe_input("Broken at", "8.0, 11.0, 14.0 and 17.4 MPa"),
            describe_input("Required", "15.5 MPa"),
            describe_input(
                "Maturity in place",
                "1500 °C · h, and 12 more per hour; 8 if cold, 16 if warm",
            ),
        ),
        steps=(
            write_text(
                "Gain per doubling: (−1.5 × 8 − 0.5 × 11 + 0.5 × 14 + 1.5 × 17.4) ÷ 5"
                " = {:3 MPa}.",
                step,
            ),
            write_text("b = gain ÷ ln 2 = {:3 MPa}; a = {:3 MPa}.", slope, start),
            write_text("exp((15.5 − a) ÷ b) = {:0 °C · h}.", needed),
            write_text(
                "({:0} − 1500) ÷ 12 = {:0 h}.", needed, (needed - 1500.0) / 12.0
            ),
        ),
        results=(
            build_result("Maturity required", "0 °C · h", computed.maturity, needed),
            build_result(
                "Likely after", "0 h", computed.likely_h, (needed - 1500.0) / 12.0
            ),
            build_result("Earliest, 95 %", "0 h", computed.earliest_h),
            build_result("Latest, 95 %", "0 h", computed.latest_h),
        ),
    )
