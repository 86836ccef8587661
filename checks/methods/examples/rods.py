"""Rod positions, rod groups and column lines."""

from math import atan, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.group_tolerances import (
    ColumnLineAssessment,
    GroupAssessment,
    GroupRules,
    assess_column_line,
    assess_groups,
)
from checks.engine.pattern import PatternSolution, solve_patterns
from checks.engine.rigid_fit import RigidFit, fit_rigid
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult, ExampleText
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

RODS_MM = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM
BASIS = "aisc-303-2010"


def calculate_two_rods() -> Calculation:
    """Solve two rods and their gage."""
    # The gage contradicts the offsets by 1/16 in: the adjustment shares it.
    sigma, back, side, over = 0.8, 4.0 * INCH_MM, 2.0 * INCH_MM, INCH_MM / 16.0
    computed = solve_patterns(
        [[-side, back], [side, back]],
        [0, 0],
        setback=([0, 1], [back, back], sigma),
        offset=([0, 1], [-side, side + over], sigma),
        gage=([0], [1], [2.0 * side], sigma),
    )
    return Calculation(
        inputs=(
            describe_input("Setbacks read", "{:length} and {:length}", back, back),
            describe_input(
                "Offsets read", "{:length} and {:length}", -side, side + over
            ),
            describe_input("Gage read", "{:length}", 2.0 * side),
            describe_input("Standard uncertainty of each", "{:fine}", sigma),
        ),
        steps=_write_solved_steps(sigma, side, over),
        results=_build_solved_results(sigma, back, side, over, computed),
    )


def _write_solved_steps(
    sigma: float, side: float, over: float
) -> tuple[ExampleText, ...]:
    third = over / 3.0
    return (
        write_text(
            "By the offsets the rods are {:length} apart, by the gage {:length}: the"
            " misfit is {:length}.",
            2.0 * side + over,
            2.0 * side,
            over,
        ),
        write_text(
            "Three readings of equal uncertainty share it: {:length} ÷ 3 = {:fine}"
            " each.",
            over,
            third,
        ),
        write_text(
            "Two readings determine the position along of each rod: {:fine} × √(2 ÷"
            " 3) = {:fine}.",
            sigma,
            sigma * sqrt(2.0 / 3.0),
        ),
    )


def _build_solved_results(
    sigma: float,
    back: float,
    side: float,
    over: float,
    computed: PatternSolution,
) -> tuple[ExampleResult, ...]:
    third = over / 3.0
    return (
        build_result("Rod 1, along", "+fine", computed.rods_mm[0, 0], -side + third),
        build_result(
            "Rod 2, along", "+fine", computed.rods_mm[1, 0], side + over - third
        ),
        build_result("Rod 1, in", "length", computed.rods_mm[0, 1], back),
        build_result(
            "Residual of the gage", "+fine", computed.gage_residuals_mm[0], third
        ),
        build_result(
            "Standard uncertainty of rod 1, along",
            "fine",
            computed.sigma_mm[0, 0],
            sigma * sqrt(2.0 / 3.0),
        ),
    )


def calculate_group_shift() -> Calculation:
    """Fit a rod group to the plan."""
    # The small-angle displacement makes the tangent of the rotation exactly 1/48.
    along, turned = INCH_MM / 8.0, 1.0 / 48.0
    built = (
        RODS_MM
        + [along, 0.0]
        + turned * np.stack([-RODS_MM[:, 1], RODS_MM[:, 0]], axis=1)
    )
    computed = fit_rigid(RODS_MM[None], built[None])
    off = built - RODS_MM
    squares = float((RODS_MM**2).sum())
    return Calculation(
        inputs=tuple(
            describe_input(
                f"Rod {i + 1} displaced by",
                "{:+length} along, {:+length} in",
                off[i, 0],
                off[i, 1],
            )
            for i in range(4)
        ),
        steps=(
            write_text(
                "Mean of the four, along: {:+length}; in: {:+length}.",
                off[:, 0].mean(),
                off[:, 1].mean(),
            ),
            write_text(
                "From the centroid each rod is at (±3, ±3) in and is displaced by"
                " 1/16 in on both axes, square to its arm."
            ),
            write_text(
                "Σ(p × m) ÷ Σ(p · m) = {:2 in²} ÷ {:0 in²} = 1/48.",
                turned * squares / INCH_MM**2,
                squares / INCH_MM**2,
            ),
        ),
        results=_build_group_results(turned, computed, off),
    )


def _build_group_results(
    turned: float, computed: RigidFit, off: FloatArray
) -> tuple[ExampleResult, ...]:
    return (
        build_result(
            "Shift along", "+length", computed.shift_mm[0, 0], off[:, 0].mean()
        ),
        build_result("Shift in", "+length", computed.shift_mm[0, 1], off[:, 1].mean()),
        build_result(
            "Rotation, counter-clockwise",
            "3 mrad",
            1000.0 * computed.rotation_rad[0],
            1000.0 * atan(turned),
        ),
    )


def calculate_one_group() -> Calculation:
    """Compare the rods of a group with each other."""
    # The basis is one that limits rods within their group; practice does not.
    rules = resolve_limits(ToleranceSpec(basis=BASIS)).group_rules()
    off = np.array([[0.0, 0.0], [3.0, 0.0], [1.0, 0.0], [0.0, 0.0]]) * INCH_MM / 16.0
    computed = assess_groups(RODS_MM, RODS_MM + off, [0, 0, 0, 0], rules)
    centre = off.mean(axis=0)
    return Calculation(
        inputs=(
            describe_input("Rod 2 displaced by", "{:+length} along", off[1, 0]),
            describe_input("Rod 3 displaced by", "{:+length} along", off[2, 0]),
            describe_input("Rods 1 and 4", "as planned"),
            describe_input("Limit, any two rods", "{:length}", rules.within_group_mm),
        ),
        steps=(
            write_text(
                "Centre: (0 + 3/16 + 1/16 + 0) ÷ 4 = {:length} along.", centre[0]
            ),
            write_text("Rods 1 and 2: {:length} too far apart.", off[1, 0]),
        ),
        results=_build_one_group_results(rules, off, computed),
    )


def _build_one_group_results(
    rules: GroupRules,
    off: FloatArray,
    computed: GroupAssessment,
) -> tuple[ExampleResult, ...]:
    pairs, centre = computed.rod_pairs, off.mean(axis=0)
    apart = pairs.deviation_mm[(pairs.first == 0) & (pairs.second == 1)][0]
    return (
        build_result(
            "Deviation of the centre",
            "+length",
            computed.centre_deviation_mm[0, 0],
            centre[0],
        ),
        build_result(
            "Rod 2 from its centre",
            "+length",
            computed.rod_deviation_mm[1, 0],
            off[1, 0] - centre[0],
        ),
        build_result("Deviation between rods 1 and 2", "+length", apart, off[1, 0]),
        build_result(
            "Any two rods of the group",
            "within",
            pairs.within.all(),
            off[1, 0] <= rules.within_group_mm,
        ),
    )


def calculate_column_line() -> Calculation:
    """Compare groups with their fitted line."""
    # Sixteenths are chosen so that the line by hand has one decimal.
    bay, n = 25.0 * FOOT_MM, 5
    rules = resolve_limits(ToleranceSpec(basis=BASIS)).group_rules()
    across = np.array([2, 4, 6, 4, 8]) * INCH_MM / 16.0
    along = np.array([0, 1, 3, 2, 7]) * INCH_MM / 16.0
    planned = np.stack([bay * np.arange(n), np.zeros(n)], axis=1)
    built = planned + np.stack([along, across], axis=1)
    computed = assess_column_line(planned, built, [1.0, 0.0], rules)
    run = np.arange(n) - 2.0
    slope, mean = float(run @ across) / float(run @ run), float(across.mean())
    from_line = across - mean - slope * run
    return Calculation(
        inputs=(
            describe_input("Deviation across, in 16ths of an inch", "2, 4, 6, 4, 8"),
            describe_input("Deviation along, in 16ths of an inch", "0, 1, 3, 2, 7"),
            describe_input(
                "Centre to the line, and neighbours",
                "{:length}",
                rules.group_to_line_mm,
            ),
            describe_input("Accumulated", "1/4 in per 100 ft, 1 in at most"),
        ),
        steps=(
            write_text("Mean across: (2 + 4 + 6 + 4 + 8) ÷ 5 = 4.8 sixteenths."),
            write_text(
                "Slope: (−2 × 2 − 1 × 4 + 1 × 4 + 2 × 8) ÷ (4 + 1 + 1 + 4) = 1.2"
                " sixteenths a bay."
            ),
            write_text("Fourth group: 4 − (4.8 + 1.2) = −2 sixteenths from the line."),
            write_text("Fourth to fifth: 7 − 2 = 5 sixteenths longer than planned."),
            write_text(
                "First to third, 50 ft: 3 sixteenths; in proportion 50 ÷ 100 × 1/4 in ="
                " 1/8 in would be allowed, and never less than {:length}.",
                float(rules.accumulated_limit(2.0 * bay)),
            ),
        ),
        results=_build_column_line_results(rules, along, computed, from_line),
    )


def _build_column_line_results(
    rules: GroupRules,
    along: FloatArray,
    computed: ColumnLineAssessment,
    from_line: FloatArray,
) -> tuple[ExampleResult, ...]:
    near, far = computed.adjacent, computed.accumulated
    worst = int(np.argmax(np.abs(near.deviation_mm)))
    two = int(np.flatnonzero((far.first == 0) & (far.second == 2))[0])
    return (
        build_result(
            "Fourth group from the fitted line",
            "+length",
            computed.line.deviation_mm[3],
            from_line[3],
        ),
        build_result(
            "All groups against the line",
            "within",
            computed.to_line_within.all(),
            np.abs(from_line).max() <= rules.group_to_line_mm,
        ),
        build_result(
            "Worst neighbours",
            "+length",
            near.deviation_mm[worst],
            along[4] - along[3],
            # By hand along the line; the engine compares the distance of the centres.
            hand_tolerance=5e-4,
        ),
        build_result(
            "All neighbours",
            "within",
            near.within.all(),
            along[4] - along[3] <= rules.adjacent_groups_mm,
        ),
        build_result(
            "First to third", "+length", far.deviation_mm[two], along[2] - along[0]
        ),
        build_result(
            "Accumulated, first to third",
            "within",
            far.within[two],
            along[2] <= INCH_MM / 4.0,
        ),
    )
