"""A replacement rod, screened: conditions, and basic strengths side by side."""

from math import pi, sqrt

from checks.engine import cautions
from checks.engine.fasteners import GRADES, KSI_MPA, RodThread, find_thread
from checks.engine.reanchor import (
    BOND_OUTDOORS_PSI,
    KC_POST_INSTALLED,
    POUND_N,
    PSI_MPA,
    SCREEN_HEADING,
    ReanchorScreen,
    ReplacementRod,
    bond_edge_mm,
    breakout_strength_n,
    edge_factor,
    screen_replacement_rod,
    steel_strength_n,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_power,
    render_root,
    render_symbol,
)
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_length,
    show_quantity,
    show_text,
    write_text,
)

CODE = MethodSource("ACI 318-19, chapter 17", Provenance.SECOND_HAND)
GUIDE = MethodSource(
    "a design guide to chapter 17 of ACI 318-19, 2025, pp. 73 and 86",
    Provenance.SECOND_HAND,
)


def _pounds(newtons: float | None, digits: int = 0) -> ExampleValue:
    return show_quantity((newtons or 0.0) / POUND_N, "lb", digits)


def _breakout() -> Example:
    found = breakout_strength_n(4500.0 * PSI_MPA, 12.0 * INCH_MM, KC_POST_INSTALLED)
    other = breakout_strength_n(4000.0 * PSI_MPA, 5.75 * INCH_MM, 21.0)
    factor = edge_factor(8.0 * INCH_MM, 5.75 * INCH_MM)
    return Example(
        title="Two single rods in tension",
        source=GUIDE,
        inputs=(
            describe_input("First", "kc 17, f′c 4500 psi, 12 in deep"),
            describe_input("Second", "a product's kc 21, f′c 4000 psi, 5.75 in deep"),
            describe_input("Its edge", "8 in, worked back from the guide's factor"),
        ),
        steps=(
            write_text("17 × √4500 × 12 × √12; 21 × √4000 × 5.75 × √5.75."),
            write_text("0.7 + 0.3 × 8 ÷ (1.5 × 5.75)."),
        ),
        results=(
            ExampleResult(
                "Breakout, first",
                _pounds(found),
                _pounds(17.0 * sqrt(4500.0) * 12.0**1.5 * POUND_N),
                show_quantity(47_405.0, "lb", 0),
            ),
            ExampleResult(
                "Breakout, second",
                _pounds(other),
                _pounds(21.0 * sqrt(4000.0) * 5.75**1.5 * POUND_N),
                show_quantity(18_313.0, "lb", 0),
            ),
            ExampleResult(
                "Edge factor",
                show_quantity(factor, "", 3),
                show_quantity(0.7 + 0.3 * 8.0 / 8.625, "", 3),
                show_quantity(0.978, "", 3),
            ),
        ),
    )


ROD, DEEP, EDGE = 0.75, 9.0, 12.0  # [in]
PSI = 4000.0


def _near_its_stub() -> ReplacementRod:
    return ReplacementRod(
        diameter_mm=ROD * INCH_MM,
        embedment_mm=DEEP * INCH_MM,
        old_stub_mm=3.0 * INCH_MM,
        neighbour_mm=6.0 * INCH_MM,
        edge_mm=EDGE * INCH_MM,
        concrete_age_days=35.0,
        concrete_strength_mpa=PSI * PSI_MPA,
    )


def _area(thread: RodThread) -> float:
    return thread.stress_area_mm2 / INCH_MM**2


def _screened() -> Example:
    thread = find_thread(ROD * INCH_MM)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    found = screen_replacement_rod(_near_its_stub(), thread, GRADES["36"])
    return Example(
        title="A 3/4 in rod set anew 3 in from its stub",
        inputs=(
            describe_input("Embedded", show_length(DEEP * INCH_MM), ", 12 diameters"),
            describe_input("Next rod", show_length(6.0 * INCH_MM)),
            describe_input("Edge", show_length(EDGE * INCH_MM)),
            describe_input(
                "Concrete",
                "35 days old, 4000 psi, cracked, outdoors; its temperature not known",
            ),
            describe_input("Rod", "F1554 grade 36"),
        ),
        steps=(
            write_text("Stub: 3 ÷ 0.75 = 4 diameters, less than 6."),
            write_text("Breakout: 17 × √4000 × 9 × √9, times 0.7 + 0.3 × 12 ÷ 13.5."),
            write_text(
                "Bond: ",
                show_quantity(BOND_OUTDOORS_PSI[0], "psi", 0),
                " × π × 0.75 × 9.",
            ),
            write_text("Steel: ", show_quantity(_area(thread), "in²", 4), " × 58 ksi."),
            write_text("Edge that lowers the bond: 10 × 0.75 × √(650 ÷ 1100)."),
        ),
        results=_screened_results(found, thread),
    )


def _screened_results(
    found: ReanchorScreen, thread: RodThread
) -> tuple[ExampleResult, ...]:
    strengths = found.strengths
    stress, uncracked = BOND_OUTDOORS_PSI
    steel = _area(thread) * GRADES["36"].tensile_mpa / KSI_MPA * 1000.0 * POUND_N
    away = 10.0 * ROD * INCH_MM * sqrt(uncracked / 1100.0)
    return (
        *(
            ExampleResult(
                condition.name[0].upper() + condition.name[1:],
                show_text(str(condition.outcome)),
            )
            for condition in found.conditions
        ),
        ExampleResult(
            "Breakout at its edge",
            _pounds(strengths.breakout_at_edge_n),
            _pounds(
                17.0
                * sqrt(PSI)
                * DEEP**1.5
                * POUND_N
                * (0.7 + 0.3 * EDGE / (1.5 * DEEP))
            ),
        ),
        ExampleResult(
            "Bond",
            _pounds(strengths.bond_n),
            _pounds(stress * pi * ROD * DEEP * POUND_N),
        ),
        ExampleResult(
            "Steel", _pounds(steel_strength_n(thread, GRADES["36"])), _pounds(steel)
        ),
        ExampleResult(
            "Least of the three",
            show_text(strengths.least or "not known"),
            show_text("bond"),
        ),
        ExampleResult(
            "Bond is less nearer to an edge than",
            show_length(bond_edge_mm(uncracked, ROD * INCH_MM)),
            show_length(away),
        ),
    )


METHODS = (
    MethodDescription(
        slug="re-anchor",
        name="Screen of a replacement rod",
        summary="Whether an adhesive rod in the old one's stead is worth designing.",
        engine=("reanchor",),
        formulas=(
            render_formula("N_b = k_c", render_root("f_c′"), render_power("h", "1.5")),
            render_formula("ψ = 0.7 + 0.3", render_fraction("c_a", "1.5 h"), "≤ 1"),
            render_formula("N_{ba} = τ π d h"),
            render_formula(
                "c_{Na} = 10 d", render_root(render_fraction("τ_u", "1100"))
            ),
            render_formula("N_{sa} = A_s f_u"),
        ),
        symbols=(
            Symbol(render_symbol("N_b"), "basic breakout, times ψ at an edge", "lb"),
            Symbol(render_symbol("N_{ba}"), "basic bond", "lb"),
            Symbol(render_symbol("N_{sa}"), "steel", "lb"),
            Symbol(render_symbol("k_c"), "17, without a test of the product"),
            Symbol(
                render_symbol("f_c′"), "strength of the concrete, at most 8000", "psi"
            ),
            Symbol(render_symbol("h , d"), "embedment and diameter", "in"),
            Symbol(render_symbol("c_a"), "distance to the nearest edge", "in"),
            Symbol(
                render_symbol("τ , τ_u"),
                "bond stress cracked and uncracked: 200 and 650"
                " outdoors, 300 and 1000 dry indoors",
                "psi",
            ),
            Symbol(render_symbol("c_{Na}"), "nearer to an edge the bond is less", "in"),
            Symbol(render_symbol("A_s"), "tensile stress area", "in²"),
            Symbol(
                render_symbol("f_u"),
                "tensile strength, at most 1.9 of yield and 125,000",
                "psi",
            ),
        ),
        sources=(CODE, GUIDE),
        limits=(
            SCREEN_HEADING,
            "Nothing is reduced, and one rod stands for the group.",
            "Conditions: 4 to 20 diameters deep; 6 diameters to the stub, the next rod"
            " and the edge; 21 days, 10 °C and 2500 psi at least. What is not known is"
            " unknown, never passed.",
            "In a finding the rod is taken 12 diameters deep and the concrete's edge at"
            " the steel line (project choice); the finding lists what was assumed.",
        ),
        examples=(_breakout, _screened),
        cautions=(
            cautions.SCREENING,
            cautions.RODS,
            cautions.DRILLING,
            cautions.ADHESIVE,
        ),
    ),
)
