"""A tape in use: every correction at once, what to mark, and how hard to pull."""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.reanchor import POUND_N
from checks.engine.sources import Provenance
from checks.engine.tape import (
    STEEL_EXPANSION,
    TapeCorrection,
    correct_lengths,
    lay_out,
    normal_tension,
)
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
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_quantity,
    write_text,
)
from checks.methods.tape import ENGINE, KILOGRAM_N, READ, TEXTBOOK, feet

Parts = dict[str, tuple[FloatArray, float, float]]
"""The parts of a correction: by the engine [mm], by hand [m], as published [m]."""


def _together() -> Example:
    lengths = np.array([30.0, 30.0, 21.151])
    found = correct_lengths(
        lengths * 1000.0,
        temperature_c=np.array([14.0, 15.0, 16.0]),
        standard_temperature_c=20.0,
        tension_n=9.09 * KILOGRAM_N,
        standard_tension_n=5.45 * KILOGRAM_N,
        cross_section_mm2=5.0,
        modulus_mpa=2e6 * KILOGRAM_N / 100.0,
        weight_n_per_m=0.03967 * KILOGRAM_N,
        span_mm=30_000.0,
        nominal_length_mm=30_000.0,
        actual_length_mm=30_012.0,
    )
    read = float(lengths.sum())
    parts = _parts(found, lengths)
    by_hand = read + sum(hand for _, hand, _ in parts.values())
    return Example(
        title="A distance in three lengths",
        source=MethodSource(f"{TEXTBOOK.text}, example 6.1", Provenance.FROM_MEMORY),
        inputs=(
            describe_input("Read", "30.000 m, 30.000 m and 21.151 m"),
            describe_input(
                "Temperature", "14 °C, 15 °C and 16 °C; its length at 20 °C"
            ),
            describe_input("Pulled", "9.09 kg; its length at 5.45 kg"),
            describe_input(
                "Tape", "30.012 m for 30 m, 0.050 cm², 0.03967 kg/m, 2 × 10⁶ kg/cm²"
            ),
            describe_input("Held", "at its ends"),
        ),
        steps=(
            write_text("0.012 ÷ 30 × 81.151 for its own length."),
            write_text("0.0000116 × (−6 × 30 − 5 × 30 − 4 × 21.151) for temperature."),
            write_text("(9.09 − 5.45) × 81.151 ÷ (0.050 × 2,000,000) for pull."),
            write_text("−0.03967² × (30³ + 30³ + 21.151³) ÷ (24 × 9.09²) for sag."),
        ),
        results=_together_results(found, read, parts, by_hand),
    )


def _parts(found: TapeCorrection, lengths: FloatArray) -> Parts:
    read = float(lengths.sum())
    return {
        "Own length": (found.standardisation_mm, 0.012 / 30.0 * read, 0.0325),
        "Temperature": (
            found.temperature_mm,
            STEEL_EXPANSION * float(lengths @ [-6.0, -5.0, -4.0]),
            -0.0048,
        ),
        "Pull": (found.tension_mm, 3.64 * read / (0.05 * 2e6), 0.0030),
        "Sag": (
            found.sag_mm,
            -(0.03967**2) * float((lengths**3).sum()) / (24.0 * 9.09**2),
            -0.0504,
        ),
    }


def _together_results(
    found: TapeCorrection,
    read: float,
    parts: Parts,
    by_hand: float,
) -> tuple[ExampleResult, ...]:
    return (
        *(
            ExampleResult(
                label,
                show_quantity(mm.sum() / 1000.0, "m", 4, signed=True),
                show_quantity(hand, "m", 4, signed=True),
                published=show_quantity(known, "m", 4, signed=True),
            )
            for label, (mm, hand, known) in parts.items()
        ),
        ExampleResult(
            "Corrected distance",
            show_quantity(read + found.total_mm.sum() / 1000.0, "m", 3),
            show_quantity(by_hand, "m", 3),
            published=show_quantity(81.131, "m", 3),
        ),
    )


def _laid_out() -> Example:
    wanted, says, actual = 500.0, 100.0, 100.02
    found = lay_out(
        np.array([wanted * FOOT_MM]),
        nominal_length_mm=says * FOOT_MM,
        actual_length_mm=actual * FOOT_MM,
    )
    mark = wanted / (actual / says)
    return Example(
        title="500 ft to be laid out with a tape 0.02 ft too long",
        inputs=(
            describe_input("Wanted", feet(wanted)),
            describe_input("The tape says it is", feet(says)),
            describe_input("Its certificate says it is", feet(actual)),
        ),
        steps=(
            write_text("Each foot read is 100.02 ÷ 100 = 1.0002 ft."),
            write_text("500 ÷ 1.0002 = ", feet(mark, 3), "."),
        ),
        results=(
            ExampleResult(
                "Reading to mark",
                feet(wanted + found.total_mm[0] / FOOT_MM, 3),
                feet(mark, 3),
            ),
        ),
    )


def _cancelling() -> Example:
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
    return Example(
        title="A certified 100 ft tape on two supports",
        source=MethodSource(
            "calibration certificate of a 100 ft tape, posted at rpls.com; stiffness"
            " and weight fitted to it",
            Provenance.SECOND_HAND,
        ),
        inputs=(
            describe_input("It has its length at", show_quantity(standard, "lb", 0)),
            describe_input("Stiffness A E", show_quantity(stiffness, "lb", 0)),
            describe_input("The tape weighs", show_quantity(weight, "lb/ft", 6)),
            describe_input("Between supports", feet(length, 0)),
        ),
        steps=(
            write_text(
                "At the pull found, stretch: ", feet(stretch, 4, signed=True), "."
            ),
            write_text("At the pull found, sag: ", feet(sag, 4, signed=True), "."),
            write_text(
                "The certificate has 99.9969 ft at 20 lb and 100.0077 ft at 25 lb;"
                " 100.0045 ft lies between."
            ),
        ),
        results=_cancelling_results(at, left, stretch, sag),
    )


def _cancelling_results(
    at: float, left: TapeCorrection, stretch: float, sag: float
) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult("Pull", show_quantity(at, "lb", 1)),
        ExampleResult(
            "Stretch and sag together",
            feet((left.tension_mm[0] + left.sag_mm[0]) / FOOT_MM, 4, signed=True),
            feet(stretch + sag, 4, signed=True),
        ),
    )


METHODS = (
    MethodDescription(
        slug="tape-together",
        name="Tape: all corrections together",
        summary="The horizontal distance behind a reading, every effect accounted for.",
        engine=ENGINE,
        formulas=(
            render_formula("s = L + C_L + C_T + C_P + C_S"),
            render_formula("D =", render_root("s^2 − h^2")),
        ),
        symbols=(
            READ,
            Symbol(render_symbol("C"), "the four corrections above", "mm"),
            Symbol(render_symbol("h"), "difference in height of the two ends", "mm"),
            Symbol(render_symbol("D"), "horizontal distance, what is judged", "mm"),
        ),
        sources=(TEXTBOOK,),
        limits=(
            "Corrections that together exceed a tenth of the length are not believed:"
            " the reading is to be taken again (project choice).",
            "The correction is shown with the reading, which stays as it was typed.",
        ),
        examples=(_together,),
    ),
    MethodDescription(
        slug="laying-out",
        name="Laying out with the same tape",
        summary="What to read on the tape so that a wanted distance is marked.",
        engine=ENGINE,
        formulas=(render_formula("r + C (r) = D"),),
        symbols=(
            Symbol(render_symbol("r"), "reading to mark", "mm"),
            Symbol(
                render_symbol("C"), "sum of the tape corrections at that reading", "mm"
            ),
            Symbol(render_symbol("D"), "horizontal distance wanted", "mm"),
        ),
        sources=(TEXTBOOK,),
        limits=(
            "Solved by repetition to 10⁻¹⁰ mm; a tape that sags so much that no"
            " reading will do is refused.",
            "A tape too long is read short, and the other way round.",
            "For the crew: no verdict rests on it.",
        ),
        examples=(_laid_out,),
    ),
    MethodDescription(
        slug="normal-pull",
        name="Pull at which stretch and sag cancel",
        summary="How hard to pull a hanging tape so that neither needs a correction.",
        engine=ENGINE,
        formulas=(
            render_formula(
                "P^2 (P − P_0) =",
                render_fraction("A E", "24 L"),
                render_sum("", "w^2 l_i^3"),
            ),
        ),
        symbols=(
            Symbol(render_symbol("P"), "pull sought", "N"),
            Symbol(render_symbol("P_0"), "pull at which the tape has its length", "N"),
            Symbol(render_symbol("A E"), "cross-section times elastic modulus", "N"),
            Symbol(render_symbol("w"), "weight of the tape by its length", "N/mm"),
            Symbol(render_symbol("l_i"), "each span", "mm"),
            Symbol(render_symbol("L"), "length read", "mm"),
        ),
        sources=(TEXTBOOK,),
        limits=(
            "For the spans and the length given; another length needs another pull.",
            "It may be more than a tape or its spring balance is made for.",
            "For the crew: no verdict rests on it.",
        ),
        examples=(_cancelling,),
    ),
)
