"""A replacement rod, screened: conditions, and basic strengths side by side."""

from math import pi, sqrt

from checks.engine import cautions
from checks.engine.fasteners import GRADES, INCH_MM, KSI_MPA, Thread, thread_of
from checks.engine.reanchor import (
    BOND_OUTDOORS_PSI,
    HEADING,
    KC_POST_INSTALLED,
    POUND_N,
    PSI_MPA,
    Proposal,
    Screen,
    bond_edge_mm,
    breakout_n,
    edge_factor,
    screen,
    steel_n,
)
from checks.methods.model import (
    INCH,
    Example,
    Method,
    Piece,
    Result,
    Source,
    Symbol,
    amount,
    given,
    length,
    said,
    words,
)
from checks.methods.notation import formula, frac, raised, root, sign

CODE = Source("ACI 318-19, chapter 17", "published, seen second-hand")
GUIDE = Source(
    "a design guide to chapter 17 of ACI 318-19, 2025, pp. 73 and 86",
    "published, seen second-hand",
)


def _pounds(newtons: float | None, digits: int = 0) -> Piece:
    return amount((newtons or 0.0) / POUND_N, "lb", digits)


def _breakout() -> Example:
    found = breakout_n(4500.0 * PSI_MPA, 12.0 * INCH, KC_POST_INSTALLED)
    other = breakout_n(4000.0 * PSI_MPA, 5.75 * INCH, 21.0)
    factor = edge_factor(8.0 * INCH, 5.75 * INCH)
    return Example(
        title="Two single rods in tension",
        source=GUIDE,
        given=(
            given("First", "kc 17, f′c 4500 psi, 12 in deep"),
            given("Second", "a product's kc 21, f′c 4000 psi, 5.75 in deep"),
            given("Its edge", "8 in, worked back from the guide's factor"),
        ),
        steps=(
            said("17 × √4500 × 12 × √12; 21 × √4000 × 5.75 × √5.75."),
            said("0.7 + 0.3 × 8 ÷ (1.5 × 5.75)."),
        ),
        results=(
            Result("Breakout, first", _pounds(found),
                   _pounds(17.0 * sqrt(4500.0) * 12.0**1.5 * POUND_N),
                   amount(47_405.0, "lb", 0)),
            Result("Breakout, second", _pounds(other),
                   _pounds(21.0 * sqrt(4000.0) * 5.75**1.5 * POUND_N),
                   amount(18_313.0, "lb", 0)),
            Result("Edge factor", amount(factor, "", 3),
                   amount(0.7 + 0.3 * 8.0 / 8.625, "", 3), amount(0.978, "", 3)),
        ),
    )  # fmt: skip


ROD, DEEP, EDGE = 0.75, 9.0, 12.0  # [in]
PSI = 4000.0


def _near_its_stub() -> Proposal:
    return Proposal(
        diameter_mm=ROD * INCH,
        embedment_mm=DEEP * INCH,
        old_stub_mm=3.0 * INCH,
        neighbour_mm=6.0 * INCH,
        edge_mm=EDGE * INCH,
        concrete_age_days=35.0,
        concrete_strength_mpa=PSI * PSI_MPA,
    )


def _area(thread: Thread) -> float:
    return thread.stress_area_mm2 / INCH_MM**2


def _screened() -> Example:
    thread = thread_of(ROD * INCH)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    found = screen(_near_its_stub(), thread, GRADES["36"])
    return Example(
        title="A 3/4 in rod set anew 3 in from its stub",
        given=(
            given("Embedded", length(DEEP * INCH), ", 12 diameters"),
            given("Next rod", length(6.0 * INCH)),
            given("Edge", length(EDGE * INCH)),
            given("Concrete", "35 days old, 4000 psi, cracked, outdoors; its"
                  " temperature not known"),
            given("Rod", "F1554 grade 36"),
        ),
        steps=(
            said("Stub: 3 ÷ 0.75 = 4 diameters, less than 6."),
            said("Breakout: 17 × √4000 × 9 × √9, times 0.7 + 0.3 × 12 ÷ 13.5."),
            said("Bond: ", amount(BOND_OUTDOORS_PSI[0], "psi", 0), " × π × 0.75 × 9."),
            said("Steel: ", amount(_area(thread), "in²", 4), " × 58 ksi."),
            said("Edge that lowers the bond: 10 × 0.75 × √(650 ÷ 1100)."),
        ),
        results=_screened_results(found, thread),
    )  # fmt: skip


def _screened_results(found: Screen, thread: Thread) -> tuple[Result, ...]:
    strengths = found.strengths
    stress, uncracked = BOND_OUTDOORS_PSI
    steel = _area(thread) * GRADES["36"].tensile_mpa / KSI_MPA * 1000.0 * POUND_N
    away = 10.0 * ROD * INCH * sqrt(uncracked / 1100.0)
    return (
        *(
            Result(condition.name[0].upper() + condition.name[1:],
                   words(str(condition.outcome)))
            for condition in found.conditions
        ),
        Result("Breakout at its edge", _pounds(strengths.breakout_at_edge_n),
               _pounds(17.0 * sqrt(PSI) * DEEP**1.5 * POUND_N
                       * (0.7 + 0.3 * EDGE / (1.5 * DEEP)))),
        Result("Bond", _pounds(strengths.bond_n),
               _pounds(stress * pi * ROD * DEEP * POUND_N)),
        Result("Steel", _pounds(steel_n(thread, GRADES["36"])), _pounds(steel)),
        Result("Least of the three", words(strengths.least or "not known"),
               words("bond")),
        Result("Bond is less nearer to an edge than",
               length(bond_edge_mm(uncracked, ROD * INCH)), length(away)),
    )  # fmt: skip


METHODS = (
    Method(
        slug="re-anchor",
        name="Screen of a replacement rod",
        answers="Whether an adhesive rod in the old one's stead is worth designing.",
        engine=("reanchor",),
        formulas=(
            formula("N_b = k_c", root("f_c′"), raised("h", "1.5")),
            formula("ψ = 0.7 + 0.3", frac("c_a", "1.5 h"), "≤ 1"),
            formula("N_{ba} = τ π d h"),
            formula("c_{Na} = 10 d", root(frac("τ_u", "1100"))),
            formula("N_{sa} = A_s f_u"),
        ),
        symbols=(
            Symbol(sign("N_b"), "basic breakout, times ψ at an edge", "lb"),
            Symbol(sign("N_{ba}"), "basic bond", "lb"),
            Symbol(sign("N_{sa}"), "steel", "lb"),
            Symbol(sign("k_c"), "17, without a test of the product"),
            Symbol(sign("f_c′"), "strength of the concrete, at most 8000", "psi"),
            Symbol(sign("h , d"), "embedment and diameter", "in"),
            Symbol(sign("c_a"), "distance to the nearest edge", "in"),
            Symbol(sign("τ , τ_u"), "bond stress cracked and uncracked: 200 and 650"
                   " outdoors, 300 and 1000 dry indoors", "psi"),
            Symbol(sign("c_{Na}"), "nearer to an edge the bond is less", "in"),
            Symbol(sign("A_s"), "tensile stress area", "in²"),
            Symbol(sign("f_u"), "tensile strength, at most 1.9 of yield and 125,000",
                   "psi"),
        ),
        sources=(CODE, GUIDE),
        limits=(
            HEADING,
            "Nothing is reduced, and one rod stands for the group.",
            "Conditions: 4 to 20 diameters deep; 6 diameters to the stub, the next rod"
            " and the edge; 21 days, 10 °C and 2500 psi at least. What is not known is"
            " unknown, never passed.",
            "In a finding the rod is taken 12 diameters deep and the concrete's edge at"
            " the steel line (ours); the finding lists what was assumed.",
        ),
        examples=(_breakout, _screened),
        cautions=(cautions.SCREENING, cautions.RODS, cautions.DRILLING,
                  cautions.ADHESIVE),
    ),
)  # fmt: skip
