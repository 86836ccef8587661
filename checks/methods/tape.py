"""What a steel tape's reading is corrected by: each effect, and all together."""

from math import sqrt

import numpy as np

from checks.engine.reanchor import POUND_N
from checks.engine.tape import TapeCorrection, correct
from checks.methods.model import (
    FOOT,
    Example,
    Method,
    Piece,
    Result,
    Source,
    Symbol,
    amount,
    given,
    said,
)
from checks.methods.notation import formula, frac, root, sign, total

KILOGRAM_N = 9.80665
ENGINE = ("tape",)
TEXTBOOK = Source(
    "C. D. Ghilani and P. R. Wolf, Elementary Surveying, chapter 6", "from memory"
)
SLIDES = Source(
    "course slides on taping, slideplayer.com/13085605", "published, seen second-hand"
)
MAKER = Source("a tape maker's technical page", "published, seen second-hand")
READ = Symbol(sign("L"), "length as read", "mm")
IF_GIVEN = "Taken only where all it needs was given; otherwise nothing is added."
ADDED = "Added to what is read when measuring; laying out takes the opposite sign."


def feet(value: float, digits: int = 2, *, signed: bool = False) -> Piece:
    """Give a length in feet, as a published example has it."""
    return amount(value, "ft", digits, signed=signed)


def _millimetres(value: float, digits: int = 2, *, signed: bool = False) -> Piece:
    return amount(value, "mm", digits, signed=signed)


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def _own_length() -> Example:
    read, says, actual = 500.0, 100.0, 100.02
    found = correct(
        np.array([read * FOOT]),
        nominal_length_mm=says * FOOT,
        actual_length_mm=actual * FOOT,
    )
    added = (actual - says) / says * read
    return Example(
        title="A tape 0.02 ft too long",
        source=SLIDES,
        given=(
            given("Read", feet(read)),
            given("The tape says it is", feet(says)),
            given("Its certificate says it is", feet(actual)),
        ),
        steps=(
            said(
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
            Result(
                "Corrected length",
                feet(read + found.total_mm[0] / FOOT),
                feet(read + added),
                published=feet(500.10),
            ),
        ),
    )


def _temperature() -> Example:
    read, cold, warm, per_degree = 368.50, 22.0, 68.0, 6.5e-6
    found = correct(
        np.array([read * FOOT]),
        temperature_c=_celsius(cold),
        standard_temperature_c=_celsius(warm),
        expansion=per_degree * 1.8,
    )
    added = per_degree * (cold - warm) * read
    return Example(
        title="A tape in the cold",
        source=SLIDES,
        given=(
            given("Read", feet(read)),
            given("Temperature of the tape", amount(cold, "°F", 0)),
            given("It has its length at", amount(warm, "°F", 0)),
            given("Expansion", "6.5 × 10⁻⁶ per °F"),
        ),
        steps=(
            said(
                "0.0000065 × (",
                amount(cold, "", 0),
                " − ",
                amount(warm, "", 0),
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
) -> tuple[Result, ...]:
    return (
        Result(
            "Correction",
            feet(found.temperature_mm[0] / FOOT, 4),
            feet(added, 4),
            published=feet(-0.11),
        ),
        Result(
            "Corrected length",
            feet(read + found.total_mm[0] / FOOT),
            feet(read + added),
            published=feet(368.39),
        ),
    )


def _tension() -> Example:
    read, pull, standard, area, modulus = 36_000.0, 100.0, 50.0, 2.52, 205_800.0
    found = correct(
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
        given=(
            given("Read", _millimetres(read, 0)),
            given("Pulled", amount(pull, "N", 0)),
            given("It has its length at", amount(standard, "N", 0)),
            given("Cross-section", amount(area, "mm²")),
            given("Elastic modulus", amount(modulus, "MPa", 0)),
        ),
        steps=(
            said(
                "(100 − 50) N × 36,000 mm ÷ (2.52 mm² × 205,800 MPa) = ",
                _millimetres(added, 3, signed=True),
                ".",
            ),
        ),
        results=(
            Result(
                "Correction",
                _millimetres(found.tension_mm[0], 3, signed=True),
                _millimetres(added, 3, signed=True),
                published=_millimetres(3.47, signed=True),
            ),
        ),
    )


def _sag() -> Example:
    read, span, pull, weight = 348.75, 100.0, 12.0, 2.8 / 100.0
    found = correct(
        np.array([read * FOOT]),
        tension_n=pull * POUND_N,
        weight_n_per_m=weight * POUND_N / (FOOT / 1000.0),
        span_mm=span * FOOT,
    )
    rest = read - 3.0 * span
    cubes = 3.0 * span**3 + rest**3
    added = -(weight**2) * cubes / (24.0 * pull**2)
    return Example(
        title="A tape held at its ends only",
        source=SLIDES,
        given=(
            given("Read", feet(read)),
            given("Between supports", feet(span, 0), ", the last one shorter"),
            given("The tape weighs", amount(weight, "lb/ft", 3)),
            given("Pulled", amount(pull, "lb", 0)),
        ),
        steps=(
            said("Three whole spans and one of ", feet(rest), "."),
            said("3 × 100³ + 48.75³ = ", amount(cubes, "ft³", 0), "."),
            said("−0.028² × that ÷ (24 × 12²) = ", feet(added, 4), "."),
        ),
        results=(
            Result(
                "Correction",
                feet(found.sag_mm[0] / FOOT, 4),
                feet(added, 4),
                published=feet(-0.71),
            ),
        ),
    )


def _slope() -> Example:
    read, rise = 300.0, 26.15
    found = correct(np.array([read * FOOT]), slope_rise_mm=rise * FOOT)
    flat = sqrt(read**2 - rise**2)
    return Example(
        title="A tape up a slope",
        source=SLIDES,
        given=(
            given("Read along the slope", feet(read)),
            given("One end is higher by", feet(rise)),
        ),
        steps=(said("√(300² − 26.15²) = ", feet(flat, 3), "."),),
        results=(
            Result(
                "Horizontal distance",
                feet(read + found.total_mm[0] / FOOT, 3),
                feet(flat, 3),
                published=feet(298.86),
            ),
        ),
    )


METHODS = (
    Method(
        slug="tape-own-length",
        name="Tape: its own length",
        answers="What a tape that is longer or shorter than it says reads wrong by.",
        engine=ENGINE,
        formulas=(formula("C_L =", frac("l − l_0", "l_0"), "L"),),
        symbols=(
            Symbol(sign("C_L"), "correction, added to what was read", "mm"),
            Symbol(sign("l"), "length of the tape by its certificate", "mm"),
            Symbol(sign("l_0"), "length the tape says it has", "mm"),
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
    Method(
        slug="tape-temperature",
        name="Tape: temperature",
        answers="What a tape warmer or colder than it was made for reads wrong by.",
        engine=ENGINE,
        formulas=(formula("C_T = α L (T − T_0)"),),
        symbols=(
            Symbol(sign("C_T"), "correction, added to what was read", "mm"),
            Symbol(sign("α"), "expansion of tape steel, 11.6 × 10⁻⁶", "per °C"),
            READ,
            Symbol(sign("T"), "temperature of the tape", "°C"),
            Symbol(sign("T_0"), "temperature at which it has its length, 20", "°C"),
        ),
        sources=(
            Source(
                "engineering aid training course, 12-14, tpub.com/engbas", "published"
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
    Method(
        slug="tape-pull",
        name="Tape: pull",
        answers="What a tape pulled harder or less than meant reads wrong by.",
        engine=ENGINE,
        formulas=(formula("C_P =", frac("(P − P_0) L", "A E")),),
        symbols=(
            Symbol(sign("C_P"), "correction, added to what was read", "mm"),
            Symbol(sign("P"), "pull on the tape", "N"),
            Symbol(sign("P_0"), "pull at which it has its length", "N"),
            READ,
            Symbol(sign("A"), "cross-section of the tape", "mm²"),
            Symbol(sign("E"), "elastic modulus of the tape", "MPa"),
        ),
        sources=(TEXTBOOK, MAKER, SLIDES),
        limits=(IF_GIVEN, ADDED),
        examples=(_tension,),
    ),
    Method(
        slug="tape-sag",
        name="Tape: sag between supports",
        answers="How much a hanging tape reads long, because it is not straight.",
        engine=ENGINE,
        formulas=(formula("C_S = −", frac("w^2", "24 P^2"), total("", "l_i^3")),),
        symbols=(
            Symbol(sign("C_S"), "correction, added to what was read", "mm"),
            Symbol(sign("w"), "weight of the tape by its length", "N/mm"),
            Symbol(sign("P"), "pull on the tape", "N"),
            Symbol(sign("l_i"), "each span, whole ones first, then the rest", "mm"),
        ),
        sources=(TEXTBOOK, SLIDES),
        limits=(
            "A shallow parabola: for pulls well above the tape's own weight.",
            "A tape is taken to be supported throughout unless a span is given.",
            ADDED,
        ),
        examples=(_sag,),
    ),
    Method(
        slug="tape-slope",
        name="Tape: slope",
        answers="The level distance behind a length read up or down a slope.",
        engine=ENGINE,
        formulas=(formula("D =", root("s^2 − h^2")),),
        symbols=(
            Symbol(sign("D"), "horizontal distance", "mm"),
            Symbol(
                sign("s"), "length along the slope, the other corrections made", "mm"
            ),
            Symbol(sign("h"), "difference in height of the two ends", "mm"),
        ),
        sources=(
            Source(
                "engineering aid training course, 12-15, tpub.com/engbas", "published"
            ),
            Source("exact by Pythagoras, not the first terms of the series", "ours"),
        ),
        limits=(
            "One even slope from end to end.",
            "A rise not less than the length is refused.",
            IF_GIVEN,
        ),
        examples=(_slope,),
    ),
)
