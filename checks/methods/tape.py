"""What a steel tape's reading is corrected by: each effect, and all together."""

from math import sqrt

import numpy as np

from checks.engine.reanchor import POUND_N
from checks.engine.sources import Provenance
from checks.engine.tape import TapeCorrection, correct_lengths
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_root,
    render_sum,
    render_symbol,
)
from checks.methods.model import (
    FOOT_MM,
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_quantity,
    write_text,
)

KILOGRAM_N = 9.80665
ENGINE = ("tape",)
TEXTBOOK = MethodSource(
    "C. D. Ghilani and P. R. Wolf, Elementary Surveying, chapter 6",
    Provenance.FROM_MEMORY,
)
SLIDES = MethodSource(
    "course slides on taping, slideplayer.com/13085605", Provenance.SECOND_HAND
)
MAKER = MethodSource("a tape maker's technical page", Provenance.SECOND_HAND)
READ = Symbol(render_symbol("L"), "length as read", "mm")
IF_GIVEN = "Taken only where all it needs was given; otherwise nothing is added."
ADDED = "Added to what is read when measuring; laying out takes the opposite sign."


def feet(value: float, digits: int = 2, *, signed: bool = False) -> ExampleValue:
    """Give a length in feet, as a published example has it."""
    return show_quantity(value, "ft", digits, signed=signed)


def _millimetres(
    value: float, digits: int = 2, *, signed: bool = False
) -> ExampleValue:
    return show_quantity(value, "mm", digits, signed=signed)


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def _own_length() -> Example:
    read, says, actual = 500.0, 100.0, 100.02
    found = correct_lengths(
        np.array([read * FOOT_MM]),
        nominal_length_mm=says * FOOT_MM,
        actual_length_mm=actual * FOOT_MM,
    )
    added = (actual - says) / says * read
    return Example(
        title="A tape 0.02 ft too long",
        source=SLIDES,
        inputs=(
            describe_input("Read", feet(read)),
            describe_input("The tape says it is", feet(says)),
            describe_input("Its certificate says it is", feet(actual)),
        ),
        steps=(
            write_text(
                "(",
                feet(actual),
                " − ",
                feet(says),
                ") ÷ ",
                feet(says),
                " × ",
                feet(read),
                " = ",
                feet(added, signed=True),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Corrected length",
                feet(read + found.total_mm[0] / FOOT_MM),
                feet(read + added),
                published=feet(500.10),
            ),
        ),
    )


def _temperature() -> Example:
    read, cold, warm, per_degree = 368.50, 22.0, 68.0, 6.5e-6
    found = correct_lengths(
        np.array([read * FOOT_MM]),
        temperature_c=_celsius(cold),
        standard_temperature_c=_celsius(warm),
        expansion=per_degree * 1.8,
    )
    added = per_degree * (cold - warm) * read
    return Example(
        title="A tape in the cold",
        source=SLIDES,
        inputs=(
            describe_input("Read", feet(read)),
            describe_input("Temperature of the tape", show_quantity(cold, "°F", 0)),
            describe_input("It has its length at", show_quantity(warm, "°F", 0)),
            describe_input("Expansion", "6.5 × 10⁻⁶ per °F"),
        ),
        steps=(
            write_text(
                "0.0000065 × (",
                show_quantity(cold, "", 0),
                " − ",
                show_quantity(warm, "", 0),
                ") × ",
                feet(read),
                " = ",
                feet(added, 4),
                ".",
            ),
        ),
        results=_temperature_results(read, found, added),
    )


def _temperature_results(
    read: float, found: TapeCorrection, added: float
) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult(
            "Correction",
            feet(found.temperature_mm[0] / FOOT_MM, 4),
            feet(added, 4),
            published=feet(-0.11),
        ),
        ExampleResult(
            "Corrected length",
            feet(read + found.total_mm[0] / FOOT_MM),
            feet(read + added),
            published=feet(368.39),
        ),
    )


def _tension() -> Example:
    read, pull, standard, area, modulus = 36_000.0, 100.0, 50.0, 2.52, 205_800.0
    found = correct_lengths(
        np.array([read]),
        tension_n=pull,
        standard_tension_n=standard,
        cross_section_mm2=area,
        modulus_mpa=modulus,
    )
    added = (pull - standard) * read / (area * modulus)
    return Example(
        title="A tape pulled harder than it was made for",
        source=MAKER,
        inputs=(
            describe_input("Read", _millimetres(read, 0)),
            describe_input("Pulled", show_quantity(pull, "N", 0)),
            describe_input("It has its length at", show_quantity(standard, "N", 0)),
            describe_input("Cross-section", show_quantity(area, "mm²")),
            describe_input("Elastic modulus", show_quantity(modulus, "MPa", 0)),
        ),
        steps=(
            write_text(
                "(100 − 50) N × 36,000 mm ÷ (2.52 mm² × 205,800 MPa) = ",
                _millimetres(added, 3, signed=True),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Correction",
                _millimetres(found.tension_mm[0], 3, signed=True),
                _millimetres(added, 3, signed=True),
                published=_millimetres(3.47, signed=True),
            ),
        ),
    )


def _sag() -> Example:
    read, span, pull, weight = 348.75, 100.0, 12.0, 2.8 / 100.0
    found = correct_lengths(
        np.array([read * FOOT_MM]),
        tension_n=pull * POUND_N,
        weight_n_per_m=weight * POUND_N / (FOOT_MM / 1000.0),
        span_mm=span * FOOT_MM,
    )
    rest = read - 3.0 * span
    cubes = 3.0 * span**3 + rest**3
    added = -(weight**2) * cubes / (24.0 * pull**2)
    return Example(
        title="A tape held at its ends only",
        source=SLIDES,
        inputs=(
            describe_input("Read", feet(read)),
            describe_input("Between supports", feet(span, 0), ", the last one shorter"),
            describe_input("The tape weighs", show_quantity(weight, "lb/ft", 3)),
            describe_input("Pulled", show_quantity(pull, "lb", 0)),
        ),
        steps=(
            write_text("Three whole spans and one of ", feet(rest), "."),
            write_text("3 × 100³ + 48.75³ = ", show_quantity(cubes, "ft³", 0), "."),
            write_text("−0.028² × that ÷ (24 × 12²) = ", feet(added, 4), "."),
        ),
        results=(
            ExampleResult(
                "Correction",
                feet(found.sag_mm[0] / FOOT_MM, 4),
                feet(added, 4),
                published=feet(-0.71),
            ),
        ),
    )


def _slope() -> Example:
    read, rise = 300.0, 26.15
    found = correct_lengths(np.array([read * FOOT_MM]), slope_rise_mm=rise * FOOT_MM)
    flat = sqrt(read**2 - rise**2)
    return Example(
        title="A tape up a slope",
        source=SLIDES,
        inputs=(
            describe_input("Read along the slope", feet(read)),
            describe_input("One end is higher by", feet(rise)),
        ),
        steps=(write_text("√(300² − 26.15²) = ", feet(flat, 3), "."),),
        results=(
            ExampleResult(
                "Horizontal distance",
                feet(read + found.total_mm[0] / FOOT_MM, 3),
                feet(flat, 3),
                published=feet(298.86),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="tape-own-length",
        name="Tape: its own length",
        summary="What a tape that is longer or shorter than it says reads wrong by.",
        engine=ENGINE,
        formulas=(render_formula("C_L =", render_fraction("l − l_0", "l_0"), "L"),),
        symbols=(
            Symbol(render_symbol("C_L"), "correction, added to what was read", "mm"),
            Symbol(render_symbol("l"), "length of the tape by its certificate", "mm"),
            Symbol(render_symbol("l_0"), "length the tape says it has", "mm"),
            READ,
        ),
        sources=(TEXTBOOK, SLIDES),
        limits=(
            "The tape's error is taken to be spread evenly along it.",
            "The certificate is for a tape supported throughout.",
            IF_GIVEN,
            ADDED,
        ),
        examples=(_own_length,),
    ),
    MethodDescription(
        slug="tape-temperature",
        name="Tape: temperature",
        summary="What a tape warmer or colder than it was made for reads wrong by.",
        engine=ENGINE,
        formulas=(render_formula("C_T = α L (T − T_0)"),),
        symbols=(
            Symbol(render_symbol("C_T"), "correction, added to what was read", "mm"),
            Symbol(
                render_symbol("α"), "expansion of tape steel, 11.6 × 10⁻⁶", "per °C"
            ),
            READ,
            Symbol(render_symbol("T"), "temperature of the tape", "°C"),
            Symbol(
                render_symbol("T_0"), "temperature at which it has its length, 20", "°C"
            ),
        ),
        sources=(
            MethodSource(
                "engineering aid training course, 12-14, tpub.com/engbas",
                Provenance.PUBLISHED,
            ),
            TEXTBOOK,
            SLIDES,
        ),
        limits=(
            "Steel tapes only; the air's temperature is not the tape's in the sun.",
            "Where no temperature was noted nothing is added, and the uncertainty"
            " grows instead.",
            ADDED,
        ),
        examples=(_temperature,),
    ),
    MethodDescription(
        slug="tape-pull",
        name="Tape: pull",
        summary="What a tape pulled harder or less than meant reads wrong by.",
        engine=ENGINE,
        formulas=(render_formula("C_P =", render_fraction("(P − P_0) L", "A E")),),
        symbols=(
            Symbol(render_symbol("C_P"), "correction, added to what was read", "mm"),
            Symbol(render_symbol("P"), "pull on the tape", "N"),
            Symbol(render_symbol("P_0"), "pull at which it has its length", "N"),
            READ,
            Symbol(render_symbol("A"), "cross-section of the tape", "mm²"),
            Symbol(render_symbol("E"), "elastic modulus of the tape", "MPa"),
        ),
        sources=(TEXTBOOK, MAKER, SLIDES),
        limits=(IF_GIVEN, ADDED),
        examples=(_tension,),
    ),
    MethodDescription(
        slug="tape-sag",
        name="Tape: sag between supports",
        summary="How much a hanging tape reads long, because it is not straight.",
        engine=ENGINE,
        formulas=(
            render_formula(
                "C_S = −", render_fraction("w^2", "24 P^2"), render_sum("", "l_i^3")
            ),
        ),
        symbols=(
            Symbol(render_symbol("C_S"), "correction, added to what was read", "mm"),
            Symbol(render_symbol("w"), "weight of the tape by its length", "N/mm"),
            Symbol(render_symbol("P"), "pull on the tape", "N"),
            Symbol(
                render_symbol("l_i"), "each span, whole ones first, then the rest", "mm"
            ),
        ),
        sources=(TEXTBOOK, SLIDES),
        limits=(
            "A shallow parabola: for pulls well above the tape's own weight.",
            "A tape is taken to be supported throughout unless a span is given.",
            ADDED,
        ),
        examples=(_sag,),
    ),
    MethodDescription(
        slug="tape-slope",
        name="Tape: slope",
        summary="The level distance behind a length read up or down a slope.",
        engine=ENGINE,
        formulas=(render_formula("D =", render_root("s^2 − h^2")),),
        symbols=(
            Symbol(render_symbol("D"), "horizontal distance", "mm"),
            Symbol(
                render_symbol("s"),
                "length along the slope, the other corrections made",
                "mm",
            ),
            Symbol(render_symbol("h"), "difference in height of the two ends", "mm"),
        ),
        sources=(
            MethodSource(
                "engineering aid training course, 12-15, tpub.com/engbas",
                Provenance.PUBLISHED,
            ),
            MethodSource(
                "exact by Pythagoras, not the first terms of the series",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "One even slope from end to end.",
            "A rise not less than the length is refused.",
            IF_GIVEN,
        ),
        examples=(_slope,),
    ),
)
