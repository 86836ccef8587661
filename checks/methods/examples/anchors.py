"""Thread engagement and replacement rods."""

from math import pi, sqrt

import numpy as np

from checks.engine.constants import KSI_MPA, POUND_N, PSI_MPA
from checks.engine.fasteners import (
    GRADES,
    RodThread,
    find_thread,
    list_washers,
    min_edge_distance_mm,
)
from checks.engine.reanchor import (
    BOND_OUTDOORS_PSI,
    KC_POST_INSTALLED,
    ReanchorScreen,
    ReplacementRod,
    bond_edge_mm,
    breakout_strength_n,
    edge_factor,
    screen_replacement_rod,
    steel_strength_n,
)
from checks.engine.thread_engagement import MIN_ENGAGED_FRACTION, compute_engagement
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult

ROD_MM, PLATE_MM = 3.0 * INCH_MM / 4.0, INCH_MM / 2.0
ROD_IN, EMBEDMENT_IN, EDGE_IN = 0.75, 9.0, 12.0  # [in]
STRENGTH_PSI = 4000.0


def _to_pounds(newtons: float | None) -> float:
    return (newtons or 0.0) / POUND_N


def _find_hardware() -> tuple[float, float]:
    """Return the greatest nut and the thickest washer of a 3/4 in rod."""
    thread = find_thread(ROD_MM)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    return thread.nut_max_mm, max(each.thickness_mm for each in list_washers(ROD_MM))


def calculate_plan_review() -> Calculation:
    """Review a rod that is too short on paper and a hole too near the edge."""
    nut, washer = _find_hardware()
    stands, plate, edge = 1.5 * INCH_MM, INCH_MM, 7.0 * INCH_MM / 8.0
    computed = compute_engagement(stands, np.array([0.0]), plate, washer, nut)
    left = stands - plate - washer - nut
    needed = min_edge_distance_mm(ROD_MM)
    return Calculation(
        inputs=(
            describe_input("Planned projection", "{:length}", stands),
            describe_input("Plate", "{:length}", plate),
            describe_input("Washer, the thickest of the table", "{:fine}", washer),
            describe_input("Nut, maximum thickness", "{:fine}", nut),
            describe_input("Edge distance of the plate", "{:length}", edge),
        ),
        steps=(
            write_text(
                "{:length} − {:length} − {:fine} − {:fine} = {:+fine}: too short.",
                stands,
                plate,
                washer,
                nut,
                left,
            ),
            write_text(
                "{:length} is less than the {:length} of the table.", edge, needed
            ),
        ),
        results=(
            build_result(
                "Thread left above the nut",
                "+fine",
                float(computed.spare_mm[0]),
                left,
            ),
            build_result("Least edge distance", "length", needed, INCH_MM),
        ),
    )


def calculate_thread_left() -> Calculation:
    """Calculate the thread left above the nut."""
    nut, washer = _find_hardware()
    stands, shim = 1.75 * INCH_MM, INCH_MM / 4.0
    computed = compute_engagement(stands, np.array([0.0, shim]), PLATE_MM, washer, nut)
    by_hand = [stands - each - PLATE_MM - washer - nut for each in (0.0, shim)]
    return Calculation(
        inputs=(
            describe_input("Projection", "{:length}", stands),
            describe_input("Plate", "{:length}", PLATE_MM),
            describe_input("Washer, the thickest of the table", "{:fine}", washer),
            describe_input("Nut, maximum thickness", "{:fine}", nut),
            describe_input("Shim", "{:length}", shim),
        ),
        steps=(
            write_text(
                "{:length} − {:length} − {:fine} − {:fine} = {:fine}.",
                stands,
                PLATE_MM,
                washer,
                nut,
                by_hand[0],
            ),
            write_text("Minus the shim of {:length}: {:fine}.", shim, by_hand[1]),
        ),
        results=(
            build_result(
                "Maximum nut thickness", "fine", nut, published=0.758 * INCH_MM
            ),
            build_result(
                "Thread left without a shim", "fine", computed.spare_mm[0], by_hand[0]
            ),
            build_result(
                "Thread left with it", "fine", computed.spare_mm[1], by_hand[1]
            ),
        ),
    )


def calculate_short_rods() -> Calculation:
    """Calculate the engagement of short rods."""
    # One nut is engaged by more than half, the other by less: only one counts.
    nut, washer = _find_hardware()
    stands = np.array([1.25, 0.875]) * INCH_MM
    computed = compute_engagement(stands, 0.0, PLATE_MM, washer, nut)
    share = (stands - PLATE_MM - washer) / nut
    return Calculation(
        inputs=(
            describe_input(
                "Projections", "{:length} and {:length}", stands[0], stands[1]
            ),
            describe_input("Plate", "{:length}", PLATE_MM),
            describe_input("Washer", "{:fine}", washer),
            describe_input("Nut, maximum thickness", "{:fine}", nut),
        ),
        steps=(
            write_text(
                "({:length} − {:length} − {:fine}) ÷ {:fine} = {:1 %}.",
                stands[0],
                PLATE_MM,
                washer,
                nut,
                100.0 * share[0],
            ),
            write_text(
                "({:length} − {:length} − {:fine}) ÷ {:fine} = {:1 %}, less than half.",
                stands[1],
                PLATE_MM,
                washer,
                nut,
                100.0 * share[1],
            ),
        ),
        results=(
            build_result(
                "Missing thread, first rod",
                "fine",
                computed.missing_mm[0],
                nut * (1.0 - share[0]),
            ),
            build_result(
                "Engaged share of its nut",
                "1 %",
                100.0 * computed.engaged[0],
                100.0 * share[0],
            ),
            build_result(
                "Credited share, first rod",
                "1 %",
                100.0 * computed.credited[0],
                100.0 * share[0],
            ),
            build_result(
                "Credited share, second rod",
                "1 %",
                100.0 * computed.credited[1],
                100.0 * share[1] * (share[1] >= MIN_ENGAGED_FRACTION),
            ),
        ),
    )


def calculate_stress_areas() -> Calculation:
    """Calculate tensile stress areas."""
    sizes = {"3/4 in": (0.75, 10.0, 0.334), "1 in": (1.0, 8.0, 0.606)}
    results = []
    for name, (inches, per_inch, table) in sizes.items():
        thread = find_thread(inches * INCH_MM)
        if thread is None:
            raise RuntimeError(f"the table has no {name} rod")
        by_hand = pi / 4.0 * (inches - 0.9743 / per_inch) ** 2
        results.append(
            build_result(
                f"Stress area, {name}",
                "4 in²",
                thread.stress_area_mm2 / INCH_MM**2,
                by_hand,
                published=table,
                published_spec="3 in²",
            )
        )
    return Calculation(
        inputs=(
            describe_input("3/4 in", "10 threads per inch"),
            describe_input("1 in", "8 threads per inch"),
        ),
        steps=(
            write_text("π ÷ 4 × (0.75 − 0.9743 ÷ 10)²."),
            write_text("π ÷ 4 × (1 − 0.9743 ÷ 8)²."),
        ),
        results=tuple(results),
    )


def calculate_breakout() -> Calculation:
    """Calculate breakout strengths."""
    # The second product has its own coefficient and an edge, as the guide prints it.
    computed = breakout_strength_n(4500.0 * PSI_MPA, 12.0 * INCH_MM, KC_POST_INSTALLED)
    other = breakout_strength_n(4000.0 * PSI_MPA, 5.75 * INCH_MM, 21.0)
    factor = edge_factor(8.0 * INCH_MM, 5.75 * INCH_MM)
    return Calculation(
        inputs=(
            describe_input("First", "kc 17, f′c 4500 psi, 12 in deep"),
            describe_input("Second", "a product's kc 21, f′c 4000 psi, 5.75 in deep"),
            describe_input("Its edge", "8 in, computed back from the guide's factor"),
        ),
        steps=(
            write_text("17 × √4500 × 12 × √12; 21 × √4000 × 5.75 × √5.75."),
            write_text("0.7 + 0.3 × 8 ÷ (1.5 × 5.75)."),
        ),
        results=(
            build_result(
                "Breakout, first",
                "0 lb",
                _to_pounds(computed),
                17.0 * sqrt(4500.0) * 12.0**1.5,
                published=47_405.0,
            ),
            build_result(
                "Breakout, second",
                "0 lb",
                _to_pounds(other),
                21.0 * sqrt(4000.0) * 5.75**1.5,
                published=18_313.0,
            ),
            build_result(
                "Edge factor", "3", factor, 0.7 + 0.3 * 8.0 / 8.625, published=0.978
            ),
        ),
    )


def _propose_rod() -> ReplacementRod:
    return ReplacementRod(
        diameter_mm=ROD_IN * INCH_MM,
        embedment_mm=EMBEDMENT_IN * INCH_MM,
        old_stub_mm=3.0 * INCH_MM,
        neighbour_mm=6.0 * INCH_MM,
        edge_mm=EDGE_IN * INCH_MM,
        concrete_age_days=35.0,
        concrete_strength_mpa=STRENGTH_PSI * PSI_MPA,
    )


def _stress_area(thread: RodThread) -> float:
    return thread.stress_area_mm2 / INCH_MM**2


def calculate_replacement_rod() -> Calculation:
    """Screen a replacement rod."""
    # The stub is nearer than six diameters, so one condition is not met.
    thread = find_thread(ROD_IN * INCH_MM)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    computed = screen_replacement_rod(_propose_rod(), thread, GRADES["36"])
    return Calculation(
        inputs=(
            describe_input(
                "Embedment", "{:length}, 12 diameters", EMBEDMENT_IN * INCH_MM
            ),
            describe_input("Next rod", "{:length}", 6.0 * INCH_MM),
            describe_input("Edge", "{:length}", EDGE_IN * INCH_MM),
            describe_input(
                "Concrete",
                "35 days old, 4000 psi, cracked, outdoors; temperature unknown",
            ),
            describe_input("Rod", "F1554 grade 36"),
        ),
        steps=(
            write_text("Stub: 3 ÷ 0.75 = 4 diameters, less than 6."),
            write_text("Breakout: 17 × √4000 × 9 × √9, times 0.7 + 0.3 × 12 ÷ 13.5."),
            write_text("Bond: {:0 psi} × π × 0.75 × 9.", BOND_OUTDOORS_PSI[0]),
            write_text("Steel: {:4 in²} × 58 ksi.", _stress_area(thread)),
            write_text(
                "Edge distance that reduces the bond: 10 × 0.75 × √(650 ÷ 1100)."
            ),
        ),
        results=_build_screened_results(computed, thread),
    )


def _build_screened_results(
    computed: ReanchorScreen, thread: RodThread
) -> tuple[ExampleResult, ...]:
    strengths = computed.strengths
    stress, uncracked = BOND_OUTDOORS_PSI
    steel = _stress_area(thread) * GRADES["36"].tensile_mpa / KSI_MPA * 1000.0 * POUND_N
    away = 10.0 * ROD_IN * INCH_MM * sqrt(uncracked / 1100.0)
    return (
        *(
            build_result(
                condition.name[0].upper() + condition.name[1:],
                "text",
                str(condition.outcome),
            )
            for condition in computed.conditions
        ),
        build_result(
            "Breakout at its edge",
            "0 lb",
            _to_pounds(strengths.breakout_at_edge_n),
            17.0
            * sqrt(STRENGTH_PSI)
            * EMBEDMENT_IN**1.5
            * (0.7 + 0.3 * EDGE_IN / (1.5 * EMBEDMENT_IN)),
        ),
        build_result(
            "Bond",
            "0 lb",
            _to_pounds(strengths.bond_n),
            stress * pi * ROD_IN * EMBEDMENT_IN,
        ),
        build_result(
            "Steel",
            "0 lb",
            _to_pounds(steel_strength_n(thread, GRADES["36"])),
            _to_pounds(steel),
        ),
        build_result(
            "Least of the three", "text", strengths.least or "not known", "bond"
        ),
        build_result(
            "Bond is reduced below an edge distance of",
            "length",
            bond_edge_mm(uncracked, ROD_IN * INCH_MM),
            away,
        ),
    )
