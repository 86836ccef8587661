"""Tape corrections."""

from math import sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.constants import POUND_N
from checks.engine.tape import (
    STEEL_EXPANSION,
    TapeCorrection,
    correct_lengths,
    lay_out,
    normal_tension,
)
from checks.methods.example_values import (
    FOOT_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult

KILOGRAM_FORCE_N = 9.80665
Parts = dict[str, tuple[FloatArray, float, float]]
"""The parts of a correction: by the engine [mm], by hand [m], as published [m]."""


def _to_celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def calculate_long_tape() -> Calculation:
    """Correct a reading of a tape that is longer than marked."""
    read, says, actual = 500.0, 100.0, 100.02
    computed = correct_lengths(
        np.array([read * FOOT_MM]),
        nominal_length_mm=says * FOOT_MM,
        actual_length_mm=actual * FOOT_MM,
    )
    added = (actual - says) / says * read
    return Calculation(
        inputs=(
            describe_input("Read", "{:2 ft}", read),
            describe_input("Marked length of the tape", "{:2 ft}", says),
            describe_input("Length by its certificate", "{:2 ft}", actual),
        ),
        steps=(
            write_text(
                "({:2 ft} − {:2 ft}) ÷ {:2 ft} × {:2 ft} = {:+2 ft}.",
                actual,
                says,
                says,
                read,
                added,
            ),
        ),
        results=(
            build_result(
                "Corrected length",
                "2 ft",
                read + computed.total_mm[0] / FOOT_MM,
                read + added,
                published=500.10,
            ),
        ),
    )


def calculate_cold_tape() -> Calculation:
    """Correct a reading of a cold tape."""
    read, cold, warm, per_degree = 368.50, 22.0, 68.0, 6.5e-6
    computed = correct_lengths(
        np.array([read * FOOT_MM]),
        temperature_c=_to_celsius(cold),
        standard_temperature_c=_to_celsius(warm),
        expansion=per_degree * 1.8,
    )
    added = per_degree * (cold - warm) * read
    return Calculation(
        inputs=(
            describe_input("Read", "{:2 ft}", read),
            describe_input("Temperature of the tape", "{:0 °F}", cold),
            describe_input("Standard temperature", "{:0 °F}", warm),
            describe_input("Expansion", "6.5 × 10⁻⁶ per °F"),
        ),
        steps=(
            write_text(
                "0.0000065 × ({:0} − {:0}) × {:2 ft} = {:4 ft}.",
                cold,
                warm,
                read,
                added,
            ),
        ),
        results=_build_temperature_results(read, computed, added),
    )


def _build_temperature_results(
    read: float, computed: TapeCorrection, added: float
) -> tuple[ExampleResult, ...]:
    return (
        build_result(
            "Correction",
            "4 ft",
            computed.temperature_mm[0] / FOOT_MM,
            added,
            published=-0.11,
            published_spec="2 ft",
        ),
        build_result(
            "Corrected length",
            "2 ft",
            read + computed.total_mm[0] / FOOT_MM,
            read + added,
            published=368.39,
        ),
    )


def calculate_tight_tape() -> Calculation:
    """Correct a reading above the standard tension."""
    # The maker prints the correction to a hundredth of a millimetre.
    read, pull, standard, area, modulus = 36_000.0, 100.0, 50.0, 2.52, 205_800.0
    computed = correct_lengths(
        np.array([read]),
        tension_n=pull,
        standard_tension_n=standard,
        cross_section_mm2=area,
        modulus_mpa=modulus,
    )
    added = (pull - standard) * read / (area * modulus)
    return Calculation(
        inputs=(
            describe_input("Read", "{:0 mm}", read),
            describe_input("Tension", "{:0 N}", pull),
            describe_input("Standard tension", "{:0 N}", standard),
            describe_input("Cross-section", "{:2 mm²}", area),
            describe_input("Elastic modulus", "{:0 MPa}", modulus),
        ),
        steps=(
            write_text(
                "(100 − 50) N × 36,000 mm ÷ (2.52 mm² × 205,800 MPa) = {:+3 mm}.", added
            ),
        ),
        results=(
            build_result(
                "Correction",
                "+3 mm",
                computed.tension_mm[0],
                added,
                published=3.47,
                published_spec="+2 mm",
            ),
        ),
    )


def calculate_sagging_tape() -> Calculation:
    """Correct a reading over several spans."""
    # Sag grows with the cube of a span: the short last span hardly counts.
    read, span, pull, weight = 348.75, 100.0, 12.0, 2.8 / 100.0
    computed = correct_lengths(
        np.array([read * FOOT_MM]),
        tension_n=pull * POUND_N,
        weight_n_per_m=weight * POUND_N / (FOOT_MM / 1000.0),
        span_mm=span * FOOT_MM,
    )
    rest = read - 3.0 * span
    cubes = 3.0 * span**3 + rest**3
    added = -(weight**2) * cubes / (24.0 * pull**2)
    return Calculation(
        inputs=(
            describe_input("Read", "{:2 ft}", read),
            describe_input("Between supports", "{:0 ft}, the last span shorter", span),
            describe_input("Weight of the tape", "{:3 lb/ft}", weight),
            describe_input("Tension", "{:0 lb}", pull),
        ),
        steps=(
            write_text("Three whole spans and one of {:2 ft}.", rest),
            write_text("3 × 100³ + 48.75³ = {:0 ft³}.", cubes),
            write_text("−0.028² × that sum ÷ (24 × 12²) = {:4 ft}.", added),
        ),
        results=(
            build_result(
                "Correction",
                "4 ft",
                computed.sag_mm[0] / FOOT_MM,
                added,
                published=-0.71,
                published_spec="2 ft",
            ),
        ),
    )


def calculate_slope_distance() -> Calculation:
    """Reduce a slope distance to the horizontal."""
    # The slope is steep enough for the series to differ in the third decimal.
    read, rise = 300.0, 26.15
    computed = correct_lengths(np.array([read * FOOT_MM]), slope_rise_mm=rise * FOOT_MM)
    flat = sqrt(read**2 - rise**2)
    return Calculation(
        inputs=(
            describe_input("Read along the slope", "{:2 ft}", read),
            describe_input("Difference in height", "{:2 ft}", rise),
        ),
        steps=(write_text("√(300² − 26.15²) = {:3 ft}.", flat),),
        results=(
            build_result(
                "Horizontal distance",
                "3 ft",
                read + computed.total_mm[0] / FOOT_MM,
                flat,
                published=298.86,
                published_spec="2 ft",
            ),
        ),
    )


def calculate_three_lengths() -> Calculation:
    """Correct a distance for every effect."""
    # The textbook example has every correction at once, in kilograms of force.
    lengths = np.array([30.0, 30.0, 21.151])
    computed = correct_lengths(
        lengths * 1000.0,
        temperature_c=np.array([14.0, 15.0, 16.0]),
        standard_temperature_c=20.0,
        tension_n=9.09 * KILOGRAM_FORCE_N,
        standard_tension_n=5.45 * KILOGRAM_FORCE_N,
        cross_section_mm2=5.0,
        modulus_mpa=2e6 * KILOGRAM_FORCE_N / 100.0,
        weight_n_per_m=0.03967 * KILOGRAM_FORCE_N,
        span_mm=30_000.0,
        nominal_length_mm=30_000.0,
        actual_length_mm=30_012.0,
    )
    read = float(lengths.sum())
    parts = _calculate_parts(computed, lengths)
    by_hand = read + sum(hand for _, hand, _ in parts.values())
    return Calculation(
        inputs=(
            describe_input("Read", "30.000 m, 30.000 m and 21.151 m"),
            describe_input(
                "Temperature", "14 °C, 15 °C and 16 °C; standard temperature 20 °C"
            ),
            describe_input("Tension", "9.09 kg; standard tension 5.45 kg"),
            describe_input(
                "Tape", "30.012 m for 30 m, 0.050 cm², 0.03967 kg/m, 2 × 10⁶ kg/cm²"
            ),
            describe_input("Supported", "at its ends"),
        ),
        steps=(
            write_text("Standardisation: 0.012 ÷ 30 × 81.151."),
            write_text("Temperature: 0.0000116 × (−6 × 30 − 5 × 30 − 4 × 21.151)."),
            write_text("Tension: (9.09 − 5.45) × 81.151 ÷ (0.050 × 2,000,000)."),
            write_text("Sag: −0.03967² × (30³ + 30³ + 21.151³) ÷ (24 × 9.09²)."),
        ),
        results=_build_together_results(computed, read, parts, by_hand),
    )


def _calculate_parts(computed: TapeCorrection, lengths: FloatArray) -> Parts:
    read = float(lengths.sum())
    return {
        "Standardisation": (computed.standardisation_mm, 0.012 / 30.0 * read, 0.0325),
        "Temperature": (
            computed.temperature_mm,
            STEEL_EXPANSION * float(lengths @ [-6.0, -5.0, -4.0]),
            -0.0048,
        ),
        "Tension": (computed.tension_mm, 3.64 * read / (0.05 * 2e6), 0.0030),
        "Sag": (
            computed.sag_mm,
            -(0.03967**2) * float((lengths**3).sum()) / (24.0 * 9.09**2),
            -0.0504,
        ),
    }


def _build_together_results(
    computed: TapeCorrection,
    read: float,
    parts: Parts,
    by_hand: float,
) -> tuple[ExampleResult, ...]:
    return (
        *(
            build_result(label, "+4 m", mm.sum() / 1000.0, hand, published=published)
            for label, (mm, hand, published) in parts.items()
        ),
        build_result(
            "Corrected distance",
            "3 m",
            read + computed.total_mm.sum() / 1000.0,
            by_hand,
            published=81.131,
        ),
    )


def calculate_layout_reading() -> Calculation:
    """Calculate the reading that marks a distance."""
    # Laying out is the inverse of measuring: the reading is divided, not corrected.
    wanted, says, actual = 500.0, 100.0, 100.02
    computed = lay_out(
        np.array([wanted * FOOT_MM]),
        nominal_length_mm=says * FOOT_MM,
        actual_length_mm=actual * FOOT_MM,
    )
    mark = wanted / (actual / says)
    return Calculation(
        inputs=(
            describe_input("Required", "{:2 ft}", wanted),
            describe_input("Marked length of the tape", "{:2 ft}", says),
            describe_input("Length by its certificate", "{:2 ft}", actual),
        ),
        steps=(
            write_text("Each foot read is 100.02 ÷ 100 = 1.0002 ft."),
            write_text("500 ÷ 1.0002 = {:3 ft}.", mark),
        ),
        results=(
            build_result(
                "Reading to mark", "3 ft", wanted + computed.total_mm[0] / FOOT_MM, mark
            ),
        ),
    )


def calculate_normal_tension() -> Calculation:
    """Calculate the tension at which stretch and sag cancel."""
    # Stiffness and weight are fitted to the certificate, so the pull is not published.
    length, stiffness, weight, standard = 100.0, 105_708.0, 0.012747, 10.0
    tape = {
        "standard_tension_n": standard * POUND_N,
        "cross_section_mm2": 1.0,
        "modulus_mpa": stiffness * POUND_N,
        "weight_n_per_m": weight * POUND_N / (FOOT_MM / 1000.0),
        "span_mm": length * FOOT_MM,
    }
    taped = np.array([length * FOOT_MM])
    pull = normal_tension(taped, **tape)
    at = float(pull[0]) / POUND_N
    left = correct_lengths(taped, tension_n=pull, **tape)
    stretch = (at - standard) * length / stiffness
    sag = -(weight**2) * length**3 / (24.0 * at**2)
    return Calculation(
        inputs=(
            describe_input("Standard tension", "{:0 lb}", standard),
            describe_input("Stiffness A E", "{:0 lb}", stiffness),
            describe_input("Weight of the tape", "{:6 lb/ft}", weight),
            describe_input("Between supports", "{:0 ft}", length),
        ),
        steps=(
            write_text("Stretch at that tension: {:+4 ft}.", stretch),
            write_text("Sag at that tension: {:+4 ft}.", sag),
            write_text(
                "The certificate has 99.9969 ft at 20 lb and 100.0077 ft at 25 lb;"
                " 100.0045 ft is between them."
            ),
        ),
        results=_build_cancelling_results(at, left, stretch, sag),
    )


def _build_cancelling_results(
    at: float, left: TapeCorrection, stretch: float, sag: float
) -> tuple[ExampleResult, ...]:
    return (
        build_result("Tension", "1 lb", at),
        build_result(
            "Stretch and sag together",
            "+4 ft",
            (left.tension_mm[0] + left.sag_mm[0]) / FOOT_MM,
            stretch + sag,
        ),
    )
