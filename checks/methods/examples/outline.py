"""Outline, skew, square-up and control points."""

from math import asin, atan2, degrees, hypot, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.corner_moves import find_corner_moves
from checks.engine.distance_network import adjust_distances
from checks.engine.outlier_tests import CRITICAL_W
from checks.engine.outline import OutlineAdjustment, adjust_outline
from checks.engine.survey_control import ControlFit, fit_control, transform_to_plan
from checks.engine.uncertainty import HANDLING_LIMIT_MM, reading_uncertainty
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult, ExampleText

LENGTH_MM, WIDTH_MM, DIAGONAL_MM = 40.0 * FOOT_MM, 30.0 * FOOT_MM, 50.0 * FOOT_MM
CORNERS_MM = np.array(
    [[0.0, 0.0], [LENGTH_MM, 0.0], [LENGTH_MM, WIDTH_MM], [0.0, WIDTH_MM]]
)
PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
CORNER_NAMES = ("A", "B", "C", "D")
PAIR_NAMES = ("wall A-B", "wall B-C", "wall C-D", "wall D-A", "diagonal A-C", "B-D")
SIGMA_MM = 2.0
METRE_MM = 1000.0


def calculate_long_diagonal() -> Calculation:
    """Adjust an outline with one long diagonal."""
    # A 3-4-5 outline: its lengths and its misfit can be followed by hand.
    # By hand the equations are linear: terms of second order are left out.
    off, roughly = INCH_MM, 2e-3
    read = [LENGTH_MM, WIDTH_MM, LENGTH_MM, WIDTH_MM, DIAGONAL_MM + off, DIAGONAL_MM]
    computed = adjust_outline(CORNERS_MM, PAIRS, read, SIGMA_MM)
    shares = np.array([4.0, 3.0, 4.0, 3.0, -5.0, -5.0])
    squares = float(shares @ shares)
    by_hand = 5.0 * off * shares / squares
    w = 5.0 * off / (sqrt(squares) * SIGMA_MM)
    return Calculation(
        inputs=(
            describe_input(
                "Walls read",
                "{:length} and {:length}, both of each",
                LENGTH_MM,
                WIDTH_MM,
            ),
            describe_input(
                "Diagonals read", "{:length} and {:length}", read[4], read[5]
            ),
            describe_input("Standard uncertainty of each", "{:fine}", SIGMA_MM),
        ),
        steps=_write_rectangle_steps(off, squares, w, by_hand),
        results=_build_rectangle_results(w, by_hand, computed, roughly),
    )


def calculate_common_error() -> Calculation:
    """Adjust an outline read with one tape, one diagonal half an inch long."""
    corners = CORNERS_MM * np.array([2.0, 5.0 / 3.0])
    width, depth = 80.0 * FOOT_MM, 50.0 * FOOT_MM
    across, off = hypot(width, depth), INCH_MM / 2.0
    true = np.array([width, depth, width, depth, across, across])
    read = true + np.array([0.0, 0.0, 0.0, 0.0, off, 0.0])
    parts = reading_uncertainty(true, INCH_MM / 16.0, 2, False)
    common = np.stack([parts.class_mm, parts.temperature_mm], axis=1)
    computed = adjust_outline(
        corners, PAIRS, read, parts.independent_mm, common_mm=common
    )
    own = hypot(INCH_MM / 16.0 / sqrt(12.0), HANDLING_LIMIT_MM)
    # m of the formula; the temperature is in proportion to the length and drops out.
    weights = np.array([-width, -depth, -width, -depth, across, across]) / across
    shared = float(weights @ (0.3 + 0.2 * np.ceil(true / 1000.0))) / sqrt(3.0)
    w = off / sqrt(4.0 * own**2 + shared**2)
    return Calculation(
        inputs=(
            describe_input("Walls as planned", "{:length} and {:length}", width, depth),
            describe_input("Diagonals read", "{:length} and {:length}", *read[4:]),
            describe_input(
                "Tape", "class II, one day, no temperature, read to the sixteenth"
            ),
        ),
        steps=_write_common_steps(off, own, shared, w),
        results=(
            build_result(
                "|w| of every reading",
                "2",
                np.abs(computed.w).max(),
                w,
                hand_tolerance=2e-3,
            ),
            build_result(
                "Suspect reading",
                "text",
                "cannot tell" if computed.cannot_tell else "none",
                "cannot tell",
            ),
        ),
    )


def _write_common_steps(
    off: float, own: float, shared: float, w: float
) -> tuple[ExampleText, ...]:
    return (
        write_text(
            "Own uncertainty of each reading: √(1.5875² ÷ 12 + 1.5²) = {:3 mm}.", own
        ),
        write_text("Sum of the diagonals less what the walls say: t = {:fine}.", off),
        write_text(
            "The tape in t: (2 × 6.1 − 2 × 0.848 × 5.3 − 2 × 0.530 × 3.5) ÷ √3 ="
            " {:3 mm}; the temperature drops out.",
            shared,
        ),
        write_text("{:fine} ÷ √(4 × {:3}² + {:3}²) = {:2}.", off, own, shared, w),
        write_text(
            "The difference of the diagonals is known to √(2 × {:3}²) = {:3 mm}: the"
            " tape cancels.",
            own,
            sqrt(2.0) * own,
        ),
    )


def _write_rectangle_steps(
    off: float, squares: float, w: float, by_hand: FloatArray
) -> tuple[ExampleText, ...]:
    return (
        write_text("4 corners: 2 × 4 − 3 = 5 unknowns; 6 readings: redundancy 1."),
        write_text(
            "The squares of the two diagonals add up to those of the four walls. To"
            " first order the misfit is shared in the ratio 4, 3, 4, 3, 5 and 5:"
            " walls longer, diagonals shorter."
        ),
        write_text("4² + 3² + 4² + 3² + 5² + 5² = {:0}.", squares),
        write_text(
            "Each diagonal: {:length} × 5 × 5 ÷ 100 = {:fine}; each long wall:"
            " {:length} × 5 × 4 ÷ 100 = {:fine}.",
            off,
            -by_hand[4],
            off,
            by_hand[0],
        ),
        write_text(
            "|w| of every reading: {:length} × 5 ÷ (√100 × {:fine}) = {:2}.",
            off,
            SIGMA_MM,
            w,
        ),
    )


def _build_rectangle_results(
    w: float, by_hand: FloatArray, computed: OutlineAdjustment, roughly: float
) -> tuple[ExampleResult, ...]:
    return (
        *(
            build_result(
                f"Residual of {PAIR_NAMES[i]}",
                "+fine",
                computed.residuals_mm[i],
                by_hand[i],
                hand_tolerance=roughly,
            )
            for i in range(len(PAIR_NAMES))
        ),
        build_result(
            "Largest |w|", "2", np.abs(computed.w).max(), w, hand_tolerance=roughly
        ),
        build_result(
            "Smallest |w|", "2", np.abs(computed.w).min(), w, hand_tolerance=roughly
        ),
        build_result(
            f"A mistake shows (|w| over {CRITICAL_W})",
            "yes_no",
            computed.cannot_tell or computed.suspect.any(),
            w > CRITICAL_W,
        ),
        build_result(
            "Suspect reading",
            "text",
            "cannot tell" if computed.cannot_tell else "named",
            "cannot tell",
        ),
    )


def calculate_square() -> Calculation:
    """Adjust a published network."""
    start = np.array([[0.0, 1.0], [1.0, 1.0], [0.0, 0.0], [1.0, 0.0]]) * 1e6
    pairs = [[0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]
    read = [1000.02, 1414.20, 1414.24, 999.98, 1000.00]
    fixed = [True, True, False, False]
    computed = adjust_distances(start[None], pairs, np.array([read]) * 1e3, 10.0, fixed)
    points = computed.points_mm[0, 2:] / 1e3
    sd = np.sqrt(
        np.diag(computed.covariance_mm2[0])[4:] * computed.reference_variance[0]
    )
    published = (("3", -0.0096, -0.0226), ("4", 999.9930, 0.0174))
    return Calculation(
        inputs=(
            describe_input("Supported", "1 at (0, 1000) m, 2 at (1000, 1000) m"),
            describe_input("1 to 3, 1 to 4", "1000.02 m, 1414.20 m"),
            describe_input("2 to 3, 2 to 4", "1414.24 m, 999.98 m"),
            describe_input("3 to 4", "1000.00 m"),
            describe_input("Standard uncertainty of each", "10 mm"),
        ),
        steps=(
            write_text(
                "4 unknowns, 5 distances: redundancy 1, so every |w| is the same."
            ),
        ),
        results=_build_missing_side_results(sd, published, points),
    )


def _build_missing_side_results(
    sd: FloatArray,
    published: tuple[tuple[str, float, float], tuple[str, float, float]],
    points: FloatArray,
) -> tuple[ExampleResult, ...]:
    return (
        *(
            build_result(
                f"Point {name}, {axis}", "4 m", points[i, k], published=places[k]
            )
            for i, (name, *places) in enumerate(published)
            for k, axis in enumerate("xy")
        ),
        build_result("Standard deviation of 3, x", "2 mm", sd[0], published=9.01),
        build_result("Standard deviation of 3, y", "2 mm", sd[1], published=6.37),
    )


def calculate_missing_diagonal() -> Calculation:
    """Find the missing reading of four walls."""
    # Four walls are one reading short, whatever their lengths.
    nothing = float("nan")
    read = [LENGTH_MM, WIDTH_MM, LENGTH_MM, WIDTH_MM, nothing, nothing]
    computed = adjust_outline(CORNERS_MM, PAIRS, read, SIGMA_MM, [[0, 2], [1, 3]])
    named = [
        " to ".join(CORNER_NAMES[i] for i in pair) for pair in computed.missing.tolist()
    ]
    return Calculation(
        inputs=(
            describe_input(
                "Walls read",
                "{:length} and {:length}, both of each",
                LENGTH_MM,
                WIDTH_MM,
            ),
            describe_input("Diagonals", "none"),
        ),
        steps=(
            write_text("2 × 4 − 3 = 5 unknowns; 4 readings: one is missing."),
            write_text(
                "Four hinged walls can skew freely; the first diagonal holds them."
            ),
        ),
        results=(
            build_result("Redundant readings", "0", computed.degrees_of_freedom, 4 - 5),
            build_result("Missing", "text", ", ".join(named), "A to C"),
        ),
    )


def _adjust_skewed_outline() -> OutlineAdjustment:
    """Adjust an outline whose diagonals are 3/8 in apart, its sides as planned."""
    off = 3.0 * INCH_MM / 16.0
    read = [
        LENGTH_MM,
        WIDTH_MM,
        LENGTH_MM,
        WIDTH_MM,
        DIAGONAL_MM + off,
        DIAGONAL_MM - off,
    ]
    return adjust_outline(CORNERS_MM, PAIRS, read, SIGMA_MM)


def calculate_skew() -> Calculation:
    """Calculate the skew of an outline."""
    # Diagonals that differ about the planned 50 ft leave the walls as planned.
    off = 3.0 * INCH_MM / 16.0
    p, q = DIAGONAL_MM + off, DIAGONAL_MM - off
    computed = _adjust_skewed_outline()
    lean = asin((p**2 - q**2) / (4.0 * LENGTH_MM * WIDTH_MM))
    return Calculation(
        inputs=(
            describe_input(
                "Walls read",
                "{:length} and {:length}, both of each",
                LENGTH_MM,
                WIDTH_MM,
            ),
            describe_input("Diagonals read", "{:length} and {:length}", p, q),
        ),
        steps=(
            write_text(
                "p² − q² = (p + q)(p − q) = {:length} × {:length}.", p + q, p - q
            ),
            write_text(
                "100 ft × 3/8 in ÷ (4 × 40 ft × 30 ft) = {:4 mrad}.", 1000.0 * lean
            ),
            write_text("Over 30 ft that is {:length}.", lean * WIDTH_MM),
        ),
        results=(
            build_result(
                "Skew",
                "4 mrad",
                1000.0 * computed.skew_rad,
                1000.0 * lean,
                hand_tolerance=1e-6,
            ),
        ),
    )


def calculate_square_up() -> Calculation:
    """Calculate the corner moves that square an outline up."""
    figure = _adjust_skewed_outline()
    computed = find_corner_moves(CORNERS_MM, figure.corners_mm)
    first, second = computed.kept
    by_hand = float(figure.skew_rad) * WIDTH_MM
    return Calculation(
        inputs=(
            describe_input("Outline", "40 ft by 30 ft, skewed as above"),
            describe_input(
                "Kept",
                "the longest wall, {}-{}",
                CORNER_NAMES[first],
                CORNER_NAMES[second],
            ),
        ),
        steps=(
            write_text(
                "Each far corner must be square to its own end of the kept wall."
            ),
            write_text(
                "{:4 mrad} × {:length} = {:fine} along the far wall.",
                1000.0 * figure.skew_rad,
                WIDTH_MM,
                by_hand,
            ),
        ),
        results=tuple(
            build_result(
                f"Move {CORNER_NAMES[corner]} along"
                f" {CORNER_NAMES[wall]}-{CORNER_NAMES[wall + 1]} by",
                "+fine",
                move,
                by_hand,
                hand_tolerance=1e-6,
            )
            for corner, wall, move in zip(
                computed.corner.tolist(),
                computed.wall.tolist(),
                computed.move_mm,
                strict=True,
            )
        ),
    )


def calculate_control_fit() -> Calculation:
    """Fit a survey to the plan."""
    # A rotation by a 3-4-5 triangle keeps every coordinate whole.
    plan = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]]) * METRE_MM
    cosine, sine = 0.8, 0.6
    station = np.array([512.0, 268.0]) * METRE_MM
    survey = station + plan @ np.array([[cosine, -sine], [sine, cosine]])
    computed = fit_control(plan, survey)
    pad = station + np.array([8.0, -6.0]) * METRE_MM
    brought = transform_to_plan(computed, pad[None])[0]
    turned = (
        np.array([cosine * 8.0 - sine * -6.0, sine * 8.0 + cosine * -6.0]) * METRE_MM
    )
    return Calculation(
        inputs=(
            describe_input("Plan corners", "0, 0; 40, 0; 40, 30; 0, 30 m"),
            describe_input("The first as surveyed", "512 m east, 268 m north"),
            describe_input("The second as surveyed", "544 m east, 244 m north"),
            describe_input("A point as surveyed", "520 m east, 262 m north"),
        ),
        steps=(
            write_text(
                "First to second: 32 m east and 24 m south, 40 m long as planned."
            ),
            write_text(
                "The rotation from the survey to the plan's x axis is atan2(24, 32)."
            ),
            write_text(
                "The point is 8 m east and 6 m south of the first corner: x = 0.8 × 8"
                " + 0.6 × 6, y = 0.6 × 8 − 0.8 × 6."
            ),
        ),
        results=_build_four_corners_results(computed, brought, turned),
    )


def _build_four_corners_results(
    computed: ControlFit, brought: FloatArray, turned: FloatArray
) -> tuple[ExampleResult, ...]:
    return (
        build_result(
            "Rotation",
            "3 °",
            degrees(computed.rotation_rad),
            degrees(atan2(24.0, 32.0)),
        ),
        build_result("Best-fit scale, not applied", "6", computed.scale, 1.0),
        build_result("Axes", "text", str(computed.sense), "same"),
        build_result("Point, x", "length", brought[0], turned[0]),
        build_result(
            "Point, y",
            "length",
            # A negative zero would be shown with its sign.
            round(float(brought[1]), 6) + 0.0,
            round(float(turned[1]), 6) + 0.0,
        ),
    )
